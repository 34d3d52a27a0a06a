"""Pages as PDF: a template of our own, typeset with data that stay data."""

import asyncio
import sys
from asyncio.subprocess import PIPE
from pathlib import Path

import typst


def pdf_of(template: Path, data: bytes) -> bytes:
    """PDF/UA-1 (ISO 14289-1), so tagged and selectable, of a Typst template that reads `data` (JSON).

    The template reads them as `json(bytes(sys.inputs.data))`: no text in them is ever taken for markup. Raises
    typst.TypstError where the template is wrong.
    """
    inputs = {"data": data.decode()}
    return typst.compile(template.read_bytes(), format="pdf", sys_inputs=inputs, pdf_standards=["ua-1"])


async def pdf_apart(template: Path, data: bytes) -> bytes:
    """The same, in a process of its own: hundreds of pages take hundreds of megabytes, which end with it.

    It is ended where whoever asked has gone. Raises RuntimeError, with what it said, where it fails.
    """
    # -P: what lies beside this file is not taken for a library of the same name
    command = (sys.executable, "-P", __file__, str(template))
    process = await asyncio.create_subprocess_exec(*command, stdin=PIPE, stdout=PIPE, stderr=PIPE)
    try:
        pdf, said = await process.communicate(data)
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()
    if process.returncode != 0:
        raise RuntimeError(f"{template.name} was not typeset: {said.decode(errors='replace')}")
    return pdf


if __name__ == "__main__":
    sys.stdout.buffer.write(pdf_of(Path(sys.argv[1]), sys.stdin.buffer.read()))
