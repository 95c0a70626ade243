"""Cut the bundled web fonts out of their full, open-licence originals.

Run by hand when a glyph or a weight is added, never by a build:

    npm pack @expo-google-fonts/literata@0.4.3 @expo-google-fonts/source-sans-3@0.4.1
    for archive in *.tgz; do tar xzf "$archive" --one-top-level="${archive%.tgz}"; done
    python builder/make_fonts.py UNPACKED_FOLDER

Both originals are under the SIL Open Font License 1.1. Literata reserves no font name.
Source Sans 3 reserves the name "Source", so our cut of it carries a name of its own.
"""

import sys
from pathlib import Path

from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont

HERE = Path(__file__).parent / "kilnfolio/publish/assets/fonts"

# A glyph the handbook prints and the cut lacks would fall back to whatever the reader's
# machine has, and the PDF would differ from one machine to the next.
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


def rename(font: TTFont, family: str) -> None:
    """Give the font a family name of ours wherever a system would read its name."""
    names = font["name"]
    style = names.getDebugName(17) or names.getDebugName(2)
    wanted = {1: family, 3: f"{family} {style}", 4: f"{family} {style}",
              6: f"{family} {style}".replace(" ", ""), 16: family}
    names.names = [record for record in names.names if record.nameID not in (18, 21, 22, 25)]
    for record in names.names:
        if record.nameID in wanted:
            record.string = wanted[record.nameID]


def enlarge_percent(font: TTFont) -> None:
    """Raise the percent and per-mille signs to the height of the figures beside them.

    Literata draws them at small-capital height, and this is a book of percentages.
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
    """Write the wanted characters of one font as WOFF2 and return its size in bytes."""
    options = Options()
    options.flavor = "woff2"
    options.layout_features = ["kern", "mark", "mkmk", "ccmp", "locl", "liga",
                               "tnum", "lnum", "frac", "sups", "subs"]
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


def main(unpacked: Path) -> None:
    """Cut every font of CUTS found below a folder and print what each weighs."""
    total = 0
    for original, (target, family) in CUTS.items():
        size = cut(next(unpacked.rglob(original)), HERE / target, family)
        total += size
        sys.stdout.write(f"{size:7d}  {target}\n")
    sys.stdout.write(f"{total:7d}  in all\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
