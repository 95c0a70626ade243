/* Loads the fonts whose bytes stand before this script as FACES: the build puts them there. A page opened from a folder
   could fetch a font file but not preload it, so it would be drawn without its fonts first. */
for (const { family, weight, style, bytes } of window.FACES) {
  const font = Uint8Array.from(atob(bytes), (sign) => sign.charCodeAt(0));
  document.fonts.add(new FontFace(family, font, { weight, style }));
}
