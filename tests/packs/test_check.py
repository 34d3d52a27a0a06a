"""`setbook packs check`: every fault of a file with its line, and a status that a script can read."""

import json
from pathlib import Path

import pytest

from service.__main__ import main
from service.packs.reading import faults_in
from tests.bodies import NOW, a_pack


def check(monkeypatch: pytest.MonkeyPatch, *files: Path) -> int:
    """The status with which the command ends."""
    monkeypatch.setattr("sys.argv", ["setbook", "packs", "check", *map(str, files)])
    try:
        main()
    except SystemExit as end:
        return int(end.code or 0)
    return 0


def test_sound_files_are_said_to_be_sound(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "ours.json"
    file.write_text(json.dumps(a_pack()))
    assert check(monkeypatch, file) == 0
    assert capsys.readouterr().out == f"{file}: sound\n"


def test_each_fault_is_said_with_file_and_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong, sound = tmp_path / "wrong.json", tmp_path / "sound.json"
    text = json.dumps(a_pack(state="rumour"), indent=1).replace('"name"', '"name": "x",\n "name"')
    wrong.write_text(text)
    sound.write_text(json.dumps(a_pack()))
    assert check(monkeypatch, wrong, sound) == 1
    assert capsys.readouterr().out.splitlines() == [
        f"{wrong}:3: 'name' stands on line 2 already; give it once.",
        f"{wrong}:8: state must be one of caution, law, practice, not 'rumour'.",
        f"{sound}: sound",
    ]


def test_a_file_that_is_not_there_is_said_in_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert check(monkeypatch, tmp_path / "none.json") == 78
    assert "cannot be read (No such file or directory); check the path" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("raw", "line", "words"),
    [
        (b'{\n "a": 1,\n}', 3, "line 3, column 1"),
        (b'{"a":\n "\xff"}', 2, "is not UTF-8"),
        (b"", 1, "it is empty"),
        (b"[" * 5_000, 1, "nested too deeply"),
        (b" " * 1_000_001, 1, "1,000,000 bytes"),
        (b"[]", 1, "The body must be an object, not a list."),
        (b'{"effective_from": 7}', 1, "Add authority"),
        (
            json.dumps(a_pack(effective_from="2026-05-01", effective_until="2026-05-01"), indent=1).encode(),
            17,
            "must come after",
        ),
    ],
)
def test_whatever_is_wrong_has_a_line_and_a_sentence(raw: bytes, line: int, words: str) -> None:
    first = faults_in(raw, NOW)[0]
    assert (first[0], words in first[1]) == (line, True), first
