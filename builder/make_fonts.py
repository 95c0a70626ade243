r"""Subset the bundled web fonts from their openly licensed originals, and measure fallback fonts.

Run by hand when a glyph or a weight is added, never by a build:

    npm pack @expo-google-fonts/literata@0.4.3 @expo-google-fonts/source-sans-3@0.4.1 \
        @expo-google-fonts/gelasio@0.4.1 @expo-google-fonts/tinos@0.4.2 \
        @expo-google-fonts/arimo@0.4.3 @expo-google-fonts/roboto@0.4.3 \
        @expo-google-fonts/noto-serif@0.4.2 dejavu-fonts-ttf@2.37.3
    for archive in *.tgz; do tar xzf "$archive" --one-top-level="${archive%.tgz}"; done
    python builder/make_fonts.py UNPACKED_FOLDER

Both originals are under the SIL Open Font License 1.1. Literata reserves no font name.
Source Sans 3 reserves the name "Source", so our subset of it has a name of its own.

A stand-in is a font of the reader's device that is shown until ours is loaded. Scaled to our widths
and heights, it takes the same space, so nothing moves when ours replaces it. The devices' own fonts
are not freely available, so open fonts with the same metrics are measured instead: Gelasio for
Georgia, Tinos for Times New Roman and Liberation Serif, Arimo for Arial.
"""

import sys
from collections import Counter
from pathlib import Path

from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont

PROJECT = Path(__file__).parent.parent
ASSETS = Path(__file__).parent / "kilnfolio/site/assets"
HERE = ASSETS / "fonts"

# A glyph that the handbook prints and the subset lacks would be taken from another font of the
# reader's machine, and PDFs would differ between machines.
CHARACTERS = (
    [*range(0x20, 0x7F), *range(0xA0, 0x180)]
    + [ord(c) for c in "‐–—‘’‚“”„†‡•…‰′″‹›⁄€™−×÷±√∞∑≈≠≤≥←↑→↓↗↘ΔΣαβθλμπρσφ"]
    + [ord(c) for c in "⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺₀₁₂₃₄₅₆₇₈₉½⅓⅔¼¾⅛⅜⅝⅞⅙⅚■□▲△▼▽◆◊●○☐☑✓✗‑\u2009\u200a\u202f\u2007"]
)

# original file → (our file, our family name where the licence asks for one)
CUTS = {
    "Literata_400Regular.ttf": ("literata-400.woff2", None),
    "Literata_400Regular_Italic.ttf": ("literata-400-italic.woff2", None),
    "Literata_600SemiBold.ttf": ("literata-600.woff2", None),
    "SourceSans3_400Regular.ttf": ("folio-sans-400.woff2", "Folio Sans"),
    "SourceSans3_600SemiBold.ttf": ("folio-sans-600.woff2", "Folio Sans"),
}

REGULAR, ITALIC, BOLD = (400, "normal"), (400, "italic"), (600, "normal")

# our family → weight and style → our file
OURS = {
    "Literata": {REGULAR: "literata-400", ITALIC: "literata-400-italic", BOLD: "literata-600"},
    "Folio Sans": {REGULAR: "folio-sans-400", BOLD: "folio-sans-600"},
}

# our family → name of the stand-in → weight and style → font to measure, and its names on devices
STAND_INS = {
    "Literata": {
        "Near Georgia": {
            REGULAR: ("Gelasio_400Regular", ("Georgia", "Gelasio")),
            ITALIC: ("Gelasio_400Regular_Italic", ("Georgia Italic", "Gelasio Italic")),
            BOLD: ("Gelasio_700Bold", ("Georgia Bold", "Gelasio Bold")),
        },
        "Near Noto Serif": {
            REGULAR: ("NotoSerif_400Regular", ("Noto Serif", "NotoSerif")),
            ITALIC: ("NotoSerif_400Regular_Italic", ("Noto Serif Italic", "NotoSerif-Italic")),
            BOLD: ("NotoSerif_700Bold", ("Noto Serif Bold", "NotoSerif-Bold")),
        },
        "Near Times": {
            REGULAR: ("Tinos_400Regular", ("Times New Roman", "Liberation Serif")),
            ITALIC: (
                "Tinos_400Regular_Italic",
                ("Times New Roman Italic", "Liberation Serif Italic"),
            ),
            BOLD: ("Tinos_700Bold", ("Times New Roman Bold", "Liberation Serif Bold")),
        },
        "Near DejaVu Serif": {
            REGULAR: ("DejaVuSerif", ("DejaVu Serif",)),
            ITALIC: ("DejaVuSerif-Italic", ("DejaVu Serif Italic",)),
            BOLD: ("DejaVuSerif-Bold", ("DejaVu Serif Bold",)),
        },
    },
    "Folio Sans": {
        "Near Arial": {
            REGULAR: ("Arimo_400Regular", ("Arial", "Liberation Sans")),
            BOLD: ("Arimo_700Bold", ("Arial Bold", "Liberation Sans Bold")),
        },
        "Near Roboto": {
            REGULAR: ("Roboto_400Regular", ("Roboto", "Roboto-Regular")),
            BOLD: ("Roboto_700Bold", ("Roboto Bold", "Roboto-Bold")),
        },
        "Near DejaVu Sans": {
            REGULAR: ("DejaVuSans", ("DejaVu Sans",)),
            BOLD: ("DejaVuSans-Bold", ("DejaVu Sans Bold",)),
        },
    },
}

# our family → groups of characters scaled separately: half of its text is figures, and the width of a
# figure or a space relative to a letter differs between fonts
GROUPS = {"Literata": ("",), "Folio Sans": ("", "0123456789", " \u00a0\u202f")}


def rename(font: TTFont, family: str) -> None:
    """Give the font a family name of ours in every name record that systems read."""
    names = font["name"]
    style = names.getDebugName(17) or names.getDebugName(2)
    wanted = {
        1: family,
        3: f"{family} {style}",
        4: f"{family} {style}",
        6: f"{family} {style}".replace(" ", ""),
        16: family,
    }
    names.names = [record for record in names.names if record.nameID not in (18, 21, 22, 25)]
    for record in names.names:
        if record.nameID in wanted:
            record.string = wanted[record.nameID]


def enlarge_percent(font: TTFont) -> None:
    """Enlarge the percent and per-mille signs to the height of figures.

    Literata draws them at small-capital height, and the handbook is full of percentages.
    """
    glyphs, metrics = font["glyf"], font["hmtx"]
    factor = glyphs["zero"].yMax / glyphs["percent"].yMax
    for name in ("percent", "perthousand"):
        glyph = glyphs[name]
        if glyph.isComposite():
            raise ValueError(f"{name} is built of other glyphs; scale those instead")
        glyph.coordinates.scale((factor, factor))
        glyph.coordinates.toInt()
        glyph.recalcBounds(glyphs)
        metrics[name] = (round(metrics[name][0] * factor), glyph.xMin)


def cut(original: Path, target: Path, family: str | None) -> int:
    """Write the wanted characters of a font as WOFF2 and return its size in bytes."""
    options = Options()
    options.flavor = "woff2"
    options.layout_features = [
        "kern",
        "mark",
        "mkmk",
        "ccmp",
        "locl",
        "liga",
        "tnum",
        "lnum",
        "frac",
        "sups",
        "subs",
    ]
    options.hinting = False
    options.name_IDs = [0, 1, 2, 3, 4, 5, 6, 13, 14, 16, 17]
    font = TTFont(original, recalcTimestamp=False)
    subsetter = Subsetter(options)
    subsetter.populate(unicodes=CHARACTERS)
    subsetter.subset(font)
    if family:
        rename(font, family)
    else:
        enlarge_percent(font)
    font.flavor = "woff2"
    font.save(target)
    return target.stat().st_size


def width(font: TTFont, letters: Counter[str]) -> float:
    """Return the mean advance width of letters in a font, relative to its size."""
    names, metrics = font.getBestCmap(), font["hmtx"]
    known = {letter: count for letter, count in letters.items() if ord(letter) in names}
    total = sum(metrics[names[ord(letter)]][0] * count for letter, count in known.items())
    return total / sum(known.values()) / font["head"].unitsPerEm


def stand_in(
    name: str,
    ours: TTFont,
    theirs: TTFont,
    face: tuple[int, str],
    local: tuple[str, ...],
    letters: Counter[str],
    signs: str,
) -> str:
    """Return the CSS rule of a fallback font adjusted to the metrics of ours."""
    scale = width(ours, letters) / width(theirs, letters)
    # heights are relative to the scaled size
    size, heights = ours["head"].unitsPerEm * scale, ours["hhea"]
    sources = ", ".join(f'local("{known_as}")' for known_as in local)
    reach = f" unicode-range: {', '.join(f'U+{ord(sign):X}' for sign in signs)};" if signs else ""
    return (
        f'@font-face {{ font-family: "{name}"; font-weight: {face[0]}; font-style: {face[1]}; '
        f"src: {sources};{reach} size-adjust: {100 * scale:.4g}%; "
        f"ascent-override: {100 * heights.ascent / size:.4g}%; "
        f"descent-override: {-100 * heights.descent / size:.4g}%; "
        f"line-gap-override: {100 * heights.lineGap / size:.4g}%; }}\n"
    ).replace("U+30, U+31, U+32, U+33, U+34, U+35, U+36, U+37, U+38, U+39", "U+30-39")


def stand_ins(unpacked: Path) -> str:
    """Return the style sheet of the stand-ins, weighted by letter frequencies of our chapters."""
    chapters = sorted((PROJECT / "content/handbook").glob("*.md"))
    letters = Counter("".join(" ".join(path.read_text("utf-8").split()) for path in chapters))
    rules = []
    for family, wanted in STAND_INS.items():
        apart = "".join(GROUPS[family])
        for name, faces in wanted.items():
            for face, (measured, local) in faces.items():
                ours = TTFont(HERE / f"{OURS[family][face]}.woff2")
                theirs = TTFont(next(unpacked.rglob(f"{measured}.ttf")))
                for signs in GROUPS[family]:
                    share = {
                        sign: count
                        for sign, count in letters.items()
                        if (sign in signs if signs else sign not in apart)
                    }
                    rules.append(stand_in(name, ours, theirs, face, local, Counter(share), signs))
    return (
        "/* Fallback fonts of the reader's device, adjusted to the widths of ours until ours are loaded.\n"
        "   Written by make_fonts.py; change it there. */\n" + "".join(rules)
    )


def main(unpacked: Path) -> None:
    """Subset every font of CUTS found below a folder, print the sizes, and write the stand-ins."""
    total = 0
    for original, (target, family) in CUTS.items():
        size = cut(next(unpacked.rglob(original)), HERE / target, family)
        total += size
        sys.stdout.write(f"{size:7d}  {target}\n")
    sys.stdout.write(f"{total:7d}  in all\n")
    (ASSETS / "stand-ins.css").write_text(stand_ins(unpacked), "utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
