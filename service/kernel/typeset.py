"""Pages as PDF: a template of our own, typeset with data that stay data."""

from pathlib import Path

import typst


def pdf_of(template: Path, data: bytes) -> bytes:
    """PDF/UA-1 (ISO 14289-1), so tagged and selectable, of a Typst template that reads `data` (JSON).

    The template reads them as `json(bytes(sys.inputs.data))`: no text in them is ever taken for markup. Raises
    typst.TypstError where the template is wrong.
    """
    inputs = {"data": data.decode()}
    return typst.compile(template.read_bytes(), format="pdf", sys_inputs=inputs, pdf_standards=["ua-1"])
