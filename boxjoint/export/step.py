"""STEP: the assembled box as cut, one named solid a panel, ISO 10303-21 with the AP214 schema, mm.

The same panels give the same bytes. The kernel puts the time into the header and counts assemblies
over the life of the process; both are replaced by what follows from the panels alone. Every file is
read back before it is handed over, and its names, volumes and extents are held against the model.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from boxjoint import __version__
from boxjoint.check import kernel
from boxjoint.check.kernel import Extent
from boxjoint.errors import FileProblem, InputError, ProofFailed
from boxjoint.geometry.holes import Hole
from boxjoint.geometry.rings import Rings
from boxjoint.solve.panels import Panel

__all__ = ["StepSolid", "panels_to_step", "read_step"]

NO_TIME = "1970-01-01T00:00:00"
"""The header must hold a time; this one says that none is kept."""

VOLUME_RELATIVE = 1e-6
"""How far a volume may be off once it was written and read back."""
EXTENT_MM = 1e-6
"""How far a face may be off once it was written and read back: the file holds 15 digits, of a
coordinate in mm, and one nanometre is what panels are made of."""

_SETTINGS = {
    "write.step.schema": "AP214IS",
    "write.step.unit": "MM",
    "write.surfacecurve.mode": "0",  # no curves on surfaces: a plane face needs none, half the size
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSolid:
    """One solid of a STEP file: its name, volume (mm3) and extent (mm)."""

    name: str
    volume: float
    extent: Extent


def panels_to_step(
    panels: Sequence[Panel],
    outlines: Mapping[str, Rings],
    *,
    holes: Mapping[str, Sequence[Hole]] | None = None,
    title: str = "box",
) -> bytes:
    """Return the assembled panels as a STEP file.

    Parameters
    ----------
    panels
        Each gives its name, its place and its thickness.
    outlines
        By panel: nominal rings or rings as cut, nm, in the panel's own axes.
    holes
        By panel: cut-outs as cut, which are in no ring.
    title
        Name of the assembly.

    Raises
    ------
    MissingExtra
        When the solid kernel is not installed; says how to get it.
    InputError
        When a panel has no outline.
    ProofFailed
        When the file, read back, does not hold what was written.
    FileProblem
        When the temporary folder cannot be written.
    """
    kernel.require_kernel("STEP")
    for panel in panels:
        if panel.name not in outlines:
            raise InputError("no outline for a panel", value=panel.name)
    through = holes or {}
    solids = [
        (
            p.name,
            kernel.pierced(p, kernel.panel_solid(p, outlines[p.name]), through.get(p.name, ())),
        )
        for p in panels
    ]
    text = _fixed(_write(solids, title), title)
    _compare(solids, read_step(text))
    return text


def read_step(data: bytes) -> tuple[StepSolid, ...]:
    """Read the solids of a STEP file, in its own sequence, lengths turned into mm.

    Raises
    ------
    MissingExtra
        When the solid kernel is not installed.
    FileProblem
        When the kernel cannot read it.
    """
    kernel.require_kernel("STEP")
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Reader

    document, tool = _document()
    with _quiet(), _folder() as folder:
        path = folder / "read.step"
        path.write_bytes(data)
        reader = STEPCAFControl_Reader()
        reader.SetNameMode(True)
        status = reader.ReadFile(str(path))
        if status != IFSelect_ReturnStatus.IFSelect_RetDone or not reader.Transfer(document):
            raise FileProblem("the solid kernel cannot read this STEP file")
        return tuple(_named_solids(tool))


def _named_solids(tool: Any) -> Iterator[StepSolid]:
    from OCP.TDF import TDF_Label, TDF_LabelSequence
    from OCP.XCAFDoc import XCAFDoc_ShapeTool

    roots = TDF_LabelSequence()
    tool.GetFreeShapes(roots)
    for i in range(1, roots.Length() + 1):
        root = roots.Value(i)
        parts = TDF_LabelSequence()
        XCAFDoc_ShapeTool.GetComponents_s(root, parts, True)
        labels = [parts.Value(k) for k in range(1, parts.Length() + 1)] or [root]
        for label in labels:
            named = TDF_Label()
            if not XCAFDoc_ShapeTool.GetReferredShape_s(label, named):
                named = label
            for solid in kernel.pieces(XCAFDoc_ShapeTool.GetShape_s(label)):
                yield StepSolid(
                    name=_name_of(named),
                    volume=kernel.volume(solid),
                    extent=kernel.extent(solid),
                )


def _name_of(label: Any) -> str:
    from OCP.TDataStd import TDataStd_Name

    name = TDataStd_Name()
    if not label.FindAttribute(TDataStd_Name.GetID_s(), name):
        return ""
    return str(name.Get().ToExtString())


def _write(solids: Sequence[tuple[str, Any]], title: str) -> bytes:
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.STEPControl import STEPControl_StepModelType
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TopLoc import TopLoc_Location

    def name(label: Any, text: str) -> None:
        TDataStd_Name.Set_s(label, TCollection_ExtendedString(text, True))  # True: UTF-8

    document, tool = _document()
    with _quiet(), _folder() as folder:
        root = tool.NewShape()
        name(root, title)
        for text, solid in solids:
            part = tool.AddShape(solid, False)
            name(part, text)
            name(tool.AddComponent(root, part, TopLoc_Location()), text)
        tool.UpdateAssemblies()
        writer = STEPCAFControl_Writer()
        writer.SetNameMode(True)
        path = folder / "write.step"
        with _settings():
            done = writer.Transfer(document, STEPControl_StepModelType.STEPControl_AsIs)
            status = writer.Write(str(path)) if done else None
        if status != IFSelect_ReturnStatus.IFSelect_RetDone:
            raise FileProblem("the solid kernel cannot write the STEP file", where=str(path))
        return path.read_bytes()


def _fixed(data: bytes, title: str) -> bytes:
    """Replace what depends on the time and on what this process wrote before."""
    text = _plain(data.decode("utf-8"))
    found = re.search(r"HEADER;(.*?)ENDSEC;", text, re.DOTALL)
    schema = re.search(r"FILE_SCHEMA\(.*?\)\);", text, re.DOTALL)
    if found is None or schema is None:
        raise FileProblem("the solid kernel wrote a STEP file without a header")
    header = (
        "HEADER;\n"
        "FILE_DESCRIPTION(('panels as solids, mm'),'2;1');\n"
        f"FILE_NAME({_quoted(title)},'{NO_TIME}',(''),(''),\n"
        f"  'Open CASCADE','boxjoint {__version__}','');\n"
        f"{schema.group(0)}\n"
        "ENDSEC;"
    )
    head, body = text[: found.start()] + header, text[found.end() :]
    count = 0

    def renumbered(match: re.Match[str]) -> str:
        nonlocal count
        count += 1
        return f"{match.group(1)}'{count}'"

    body = re.sub(r"(NEXT_ASSEMBLY_USAGE_OCCURRENCE\(\s*)'\d+'", renumbered, body)
    return (head + body).encode("ascii")


def _quoted(text: str) -> str:
    """Write a string as ISO 10303-21 has it."""
    text = " ".join(text.split())  # a string holds no line break
    return "'" + _plain(text.replace("\\", "\\\\").replace("'", "''")) + "'"


def _plain(text: str) -> str:
    """Write what is not ASCII as hexadecimals, since ISO 10303-21 knows no other alphabet."""

    def hexadecimal(match: re.Match[str]) -> str:
        c = ord(match.group())
        return f"\\X2\\{c:04X}\\X0\\" if c <= 0xFFFF else f"\\X4\\{c:08X}\\X0\\"

    return re.sub(r"[^\x00-\x7f]", hexadecimal, text)


def _compare(solids: Sequence[tuple[str, Any]], found: Sequence[StepSolid]) -> None:
    """Hold what was read back against the model."""
    faults = []
    if [name for name, _ in solids] != [s.name for s in found]:
        faults.append(f"names {', '.join(s.name for s in found)}")
    for (name, solid), back in zip(solids, found, strict=False):
        volume, extent = kernel.volume(solid), kernel.extent(solid)
        if abs(back.volume - volume) > VOLUME_RELATIVE * volume:
            faults.append(f"{name}: {back.volume:.9g} mm3 instead of {volume:.9g} mm3")
        off = max(
            abs(a - b)
            for p, q in ((back.extent.lo, extent.lo), (back.extent.hi, extent.hi))
            for a, b in zip(p, q, strict=True)
        )
        if off > EXTENT_MM:
            faults.append(f"{name}: a face lies {off:.9g} mm off")
    if faults:
        raise ProofFailed(
            "the STEP file read back is not what was written",
            value=faults[0],
            faults=tuple(faults),
        )


@contextmanager
def _folder() -> Iterator[Path]:
    try:
        with tempfile.TemporaryDirectory(prefix="boxjoint-") as folder:
            yield Path(folder)
    except OSError as error:
        raise FileProblem(
            "a temporary folder cannot be used", where=tempfile.gettempdir(), value=str(error)
        ) from error


def _document() -> tuple[Any, Any]:
    """Make a document of named shapes in the kernel: (document, shape tool).

    The application only initialises it and does not keep it, so it goes when the caller lets it go.
    """
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDocStd import TDocStd_Document
    from OCP.XCAFApp import XCAFApp_Application
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    XCAFApp_Application.GetApplication_s().InitDocument(document)
    return document, XCAFDoc_DocumentTool.ShapeTool_s(document.Main())


@contextmanager
def _settings() -> Iterator[None]:
    """Set the writer's settings, which the kernel keeps for the whole process; then set them back."""
    from OCP.Interface import Interface_Static

    before = {key: Interface_Static.CVal_s(key) for key in _SETTINGS}
    try:
        for key, value in _SETTINGS.items():
            Interface_Static.SetCVal_s(key, value)
        yield
    finally:
        for key, value in before.items():
            Interface_Static.SetCVal_s(key, value)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the kernel from printing on stdout, where a program may expect JSON."""
    from OCP.Message import Message

    messenger = Message.DefaultMessenger_s()
    printers = list(messenger.Printers())
    try:
        for printer in printers:
            messenger.RemovePrinter(printer)
        yield
    finally:
        for printer in printers:
            messenger.AddPrinter(printer)
