"""Sound files of every kind that is read, made by hand: for tests to read, to change, to damage."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import openpyxl

from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.swatches import SwatchSet

#: What the fixture `read` does.
Read = Callable[[str | bytes], SwatchSet]
BANDS = ",".join(f"{w:g}" for w in WAVELENGTHS)


def flat(value: object, bands: int = 31) -> str:
    return ",".join([str(value)] * bands)


# Text -------------------------------------------------------------------------------------------

TABLE = (
    f"# cloth: cotton\n# stock_pct: gold 2, navy 1\n# cloth_g: 50\n# spoons: us\n"
    f"swatch,recipe,illuminant,L*,a*,b*,hex,{BANDS}\n"
    f"1,undyed,,,,,,{flat(81.5)}\n2,gold 0.5 + navy 1 tsp,,,,,,{flat(33.1)}\n"
    f"3,3 gold : 1 navy at 1 %,D65,50,3,4,,{flat('')}\n4,gold 1,,,,,#aabb99,{flat('')}\n"
    f'5,"navy 2",,,,,,{flat(12.5)}\n'
)


def long(samples: list[tuple[str, float]], head: str = "recipe,wavelength,reflectance") -> str:
    """One band a row."""
    rows = [f"{name},{w:g},{value}" for name, value in samples for w in WAVELENGTHS]
    return "\n".join([head, *rows, ""])


#: Wavelengths down and samples across.
TALL = "\n".join(["wavelength,undyed,gold 2", *(f"{w:g},0.8,0.3" for w in WAVELENGTHS)])


# Instruments ------------------------------------------------------------------------------------

GRID = list(range(380, 731, 10))
CURVE = [round(float(0.1 + 0.6 / (1 + np.exp((560 - w) / 20))), 6) for w in GRID]
VALUES = " ".join(map(str, CURVE))

# Fields and keywords are those of ISO 28178:2009 and CGATS.17-2005 [from memory]; values are ours.
LAB_FILE = """CGATS.17
ORIGINATOR "a small workshop"   # not a person
CREATED "2024-05-03"
MEASUREMENT_GEOMETRY "45/0"
SAMPLE_BACKING "white"
KEYWORD "MOOD"
MOOD "sunny, ""bright"" day"
WEIGHTING_FUNCTION "ILLUMINANT, D50"
WEIGHTING_FUNCTION "OBSERVER, 2 degree"
NUMBER_OF_FIELDS 5
BEGIN_DATA_FORMAT
LAB_B SAMPLE_NAME LAB_L SAMPLE_ID LAB_A
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
3.5\t"undyed"\t92.5\t1\t0.25
60.5\t"gold 0.5 %"\t70.25\t2\t10.5
END_DATA
"""


def spectral(fields: list[str], values: Sequence[object], above: str = "", count: int = 1) -> str:
    return (
        f"ISO28178\n{above}BEGIN_DATA_FORMAT\nSAMPLE_ID RECIPE {' '.join(fields)}\n"
        f"END_DATA_FORMAT\nNUMBER_OF_SETS {count}\nBEGIN_DATA\n"
        f'1 "gold 2" {" ".join(map(str, values))}\nEND_DATA\n'
    )


NAMESPACE = "http://colorexchangeformat.com/CxF3-core"
# Element names and nesting as in the CxF3-core schema (as colour-cxf carries it); values are ours.
CXF = f"""<?xml version="1.0" encoding="UTF-8"?>
<cc:CxF xmlns:cc="{NAMESPACE}">
 <cc:FileInformation><cc:Description>a café's napkins</cc:Description>
  <cc:Tag Name="cloth" Value="cotton lawn"/></cc:FileInformation>
 <cc:Resources>
  <cc:ObjectCollection>
   <cc:Object ObjectType="Standard" Name="undyed" Id="1"><cc:ColorValues>
     <cc:ReflectanceSpectrum ColorSpecification="spec">{VALUES}</cc:ReflectanceSpectrum>
     <cc:ColorCIELab ColorSpecification="lab"><cc:L>60</cc:L><cc:A>1</cc:A><cc:B>2</cc:B>
     </cc:ColorCIELab>
     <cc:ColorCIEXYZ ColorSpecification="lab"><cc:X>6</cc:X><cc:Y>1</cc:Y><cc:Z>2</cc:Z>
     </cc:ColorCIEXYZ></cc:ColorValues>
   </cc:Object>
  </cc:ObjectCollection>
  <cc:ObjectCollection>
   <cc:Object ObjectType="Sample" Name="gold 2" Id="2"><cc:ColorValues>
     <cc:ColorCIELab ColorSpecification="lab"><cc:L>70.5</cc:L><cc:A>10</cc:A><cc:B>60</cc:B>
     </cc:ColorCIELab></cc:ColorValues>
    <cc:TagCollection Name="ours"><cc:Tag Name="Recipe" Value="gold 2"/></cc:TagCollection>
   </cc:Object>
  </cc:ObjectCollection>
  <cc:ColorSpecificationCollection>
   <cc:ColorSpecification Id="spec"><cc:MeasurementSpec>
     <cc:MeasurementType>Spectrum_Reflectance</cc:MeasurementType>
     <cc:GeometryChoice><cc:SphereGeometry>Specular_Excluded</cc:SphereGeometry></cc:GeometryChoice>
     <cc:WavelengthRange StartWL="380" Increment="10"/>
     <cc:Backing>white tile</cc:Backing>
   </cc:MeasurementSpec></cc:ColorSpecification>
   <cc:ColorSpecification Id="lab">
    <cc:TristimulusSpec><cc:Illuminant>D50</cc:Illuminant><cc:Observer>2_Degree</cc:Observer>
     <cc:Method>E308_Table5</cc:Method></cc:TristimulusSpec>
    <cc:MeasurementSpec><cc:MeasurementType>Colorimetric_Reflectance</cc:MeasurementType>
     <cc:GeometryChoice><cc:SingleAngle><cc:SingleAngleConfiguration>Annular
      </cc:SingleAngleConfiguration><cc:IlluminationAngle>45.0</cc:IlluminationAngle>
      <cc:MeasurementAngle>0</cc:MeasurementAngle></cc:SingleAngle></cc:GeometryChoice>
    </cc:MeasurementSpec></cc:ColorSpecification>
  </cc:ColorSpecificationCollection>
 </cc:Resources>
</cc:CxF>
"""


# Workbooks --------------------------------------------------------------------------------------

HEAD = ["swatch", "recipe", *(int(w) for w in WAVELENGTHS)]
ROWS: list[list[Any]] = [
    ["# cloth: cotton lawn"],
    [],
    HEAD,
    [1, "undyed", *[0.8] * 31],
    [2, "gold 0.5", *[0.3] * 31],
    [],
    [2, "gold 0.5", *[0.31] * 31],
]


def workbook(rows: list[list[Any]], change: Callable[[Any], None] = lambda sheet: None) -> bytes:
    """A workbook of these rows, byte by byte the same whenever it is made."""
    book = openpyxl.Workbook()
    sheet = book.active
    for row in rows:
        sheet.append(row)
    change(sheet)
    out = io.BytesIO()
    book.save(out)
    parts = unpacked(out.getvalue())
    about = "docProps/core.xml"
    parts[about] = re.sub(rb"\d{4}-\d\d-\d\dT[\d:.]+", b"2026-05-03T00:00:00", parts[about])
    return archive(parts)


def archive(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        for name, part in parts.items():
            file.writestr(zipfile.ZipInfo(name), part, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def unpacked(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        return {name: file.read(name) for name in file.namelist()}


#: One of each, as bytes.
SOUND = {
    "table": TABLE.encode(),
    "long": long([("undyed", 0.8), ("gold 2", 0.3)]).encode(),
    "tall": TALL.encode(),
    "ISO 28178, CIELAB": LAB_FILE.encode(),
    "ISO 28178, spectra": spectral([f"NM_{w}" for w in GRID], CURVE).encode(),
    "CxF3": CXF.encode(),
    "workbook": workbook(ROWS),
}
