/* Loads the fonts in FACES, which the build writes before this script as data. A page opened from a folder can fetch
   font files but not preload them, so it would first appear without its fonts. */
for (const { family, weight, style, bytes } of window.FACES) {
  const font = Uint8Array.from(atob(bytes), (sign) => sign.charCodeAt(0));
  document.fonts.add(new FontFace(family, font, { weight, style }));
}
