"""Files as instruments write them, made by hand: the package reads them and writes none.

Element and field names are those of the CxF3-core schema (as colour-cxf carries it) and of
ISO 28178:2009 [from memory].
"""

from __future__ import annotations

from collections.abc import Mapping
from xml.sax.saxutils import escape, quoteattr

from dyemix.dataset.swatches import SwatchSet

GRID = range(400, 701, 10)


def cxf(swatches: SwatchSet, tags: Mapping[str, str] | None = None) -> str:
    """CxF3 of spectra; a named recipe goes into a tag, and so do `tags` of the whole file."""
    objects = []
    for number, reading in enumerate(swatches.readings, 1):
        values = " ".join(f"{x:.6f}" for x in reading.reflectance)
        about = {"swatch": reading.swatch}
        about |= {} if reading.recipe is None else {"Recipe": reading.recipe.exact}
        objects.append(
            f'<Object ObjectType="Sample" Name={quoteattr(reading.name)} Id="o{number}">'
            f'<ColorValues><ReflectanceSpectrum ColorSpecification="s">{escape(values)}'
            f"</ReflectanceSpectrum></ColorValues>"
            f"<TagCollection>{_tags(about)}</TagCollection></Object>"
        )
    return (
        '<?xml version="1.0" encoding="UTF-8"?><CxF xmlns="http://colorexchangeformat.com/CxF3-core">'
        f"<FileInformation>{_tags(tags or {})}</FileInformation>"
        f"<Resources><ObjectCollection>{''.join(objects)}"
        '</ObjectCollection><ColorSpecificationCollection><ColorSpecification Id="s">'
        '<MeasurementSpec><WavelengthRange StartWL="400" Increment="10"/></MeasurementSpec>'
        "</ColorSpecification></ColorSpecificationCollection></Resources></CxF>"
    )


def _tags(tags: Mapping[str, str]) -> str:
    return "".join(f"<Tag Name={quoteattr(k)} Value={quoteattr(v)}/>" for k, v in tags.items())


def cgats(swatches: SwatchSet, keywords: Mapping[str, str] | None = None) -> str:
    """ISO 28178 text of spectra, a named recipe in a field of its own."""
    named = any(reading.recipe is not None for reading in swatches.readings)
    stated = {key.replace(" ", "_"): value for key, value in (keywords or {}).items()}
    lines = ["ISO28178", *(f'{key} "{value}"' for key, value in stated.items())]
    fields = ["SAMPLE_ID", "SAMPLE_NAME", "SWATCH", *(["RECIPE"] if named else [])]
    lines += ["BEGIN_DATA_FORMAT", " ".join([*fields, *(f"SPECTRAL_DEC{w}" for w in GRID)])]
    lines += ["END_DATA_FORMAT", f"NUMBER_OF_SETS {len(swatches.readings)}", "BEGIN_DATA"]
    for number, reading in enumerate(swatches.readings, 1):
        cells = [str(number), f'"{reading.name}"', f'"{reading.swatch}"']
        cells += [f'"{reading.recipe.exact}"'] if reading.recipe is not None else []
        lines.append(" ".join([*cells, *(f"{x:.6f}" for x in reading.reflectance)]))
    return "\n".join([*lines, "END_DATA", ""])
