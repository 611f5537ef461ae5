"""Compiled templates that are kept: believed only when they are just what was written down."""

from __future__ import annotations

from pathlib import Path

import jinja2
import pytest

from builder.publish.compiled import Compiled
from builder.publish.pages.templating import error_location


@pytest.fixture
def compiles(monkeypatch: pytest.MonkeyPatch) -> list[str | None]:
    """The names of templates that were compiled."""
    done: list[str | None] = []
    real = jinja2.Environment.compile

    def noted(self: jinja2.Environment, source: str, name: str, *more: object, **how: object) -> object:
        done.append(name)
        return real(self, source, name, *more, **how)  # type: ignore[call-overload]

    monkeypatch.setattr(jinja2.Environment, "compile", noted)
    return done


def rendered(folder: Path, key: str = "as it is", text: str = "Bore {{ bore }} mm") -> str:
    loader = jinja2.DictLoader({"page": text})
    environment = jinja2.Environment(loader=loader, bytecode_cache=Compiled(folder / "kept", key))
    return environment.get_template("page").render(bore=86)


def test_a_template_is_compiled_once(tmp_path: Path, compiles: list[str | None]) -> None:
    assert [rendered(tmp_path) for _ in range(3)] == ["Bore 86 mm"] * 3
    assert compiles == ["page"]


def test_another_text_or_key_is_compiled_anew(tmp_path: Path, compiles: list[str | None]) -> None:
    rendered(tmp_path)
    assert rendered(tmp_path, text="Stroke {{ bore }} mm") == "Stroke 86 mm"
    assert rendered(tmp_path, "as it is", "Stroke {{ bore }} mm") == "Stroke 86 mm"
    assert compiles == ["page"] * 2
    rendered(tmp_path, "another program")
    assert compiles == ["page"] * 3


@pytest.mark.parametrize("harm", ["flip", "cut", "empty", "folder", "link", "foreign"])
def test_harmed_code_is_never_run_but_made_anew(harm: str, tmp_path: Path, compiles: list[str | None]) -> None:
    rendered(tmp_path)
    (path,) = (tmp_path / "kept").iterdir()
    whole = path.read_bytes()
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_bytes(b"not ours")
    match harm:
        case "flip":
            path.write_bytes(whole[:-1] + bytes([whole[-1] ^ 1]))
        case "cut":
            path.write_bytes(whole[: len(whole) // 2])
        case "empty":
            path.write_bytes(b"")
        case "folder":
            path.unlink()
            path.mkdir()
        case "link":
            path.unlink()
            path.symlink_to(elsewhere)
        case _:
            path.write_bytes(b"0" * 32 + b"\n" + whole.partition(b"\n")[2])
    assert rendered(tmp_path) == "Bore 86 mm"
    assert compiles == ["page"] * 2
    assert path.is_file()
    assert not path.is_symlink()
    assert elsewhere.read_bytes() == b"not ours"
    rendered(tmp_path)
    assert compiles == ["page"] * 2


def test_where_nothing_can_be_kept_it_is_compiled_each_time(tmp_path: Path, compiles: list[str | None]) -> None:
    (tmp_path / "kept").write_text("a file where the folder should be")
    assert [rendered(tmp_path / "kept") for _ in range(2)] == ["Bore 86 mm"] * 2
    assert compiles == ["page"] * 2


def test_a_fault_is_told_with_its_line_from_kept_code_too(tmp_path: Path, compiles: list[str | None]) -> None:
    (tmp_path / "page.j2").write_text("Bore\n{{ bore }}\n{{ bore / stroke }}\n")

    def told() -> str | None:
        loader, kept = jinja2.FileSystemLoader(tmp_path), Compiled(tmp_path / "kept", "as it is")
        environment = jinja2.Environment(loader=loader, bytecode_cache=kept, undefined=jinja2.StrictUndefined)
        with pytest.raises(jinja2.UndefinedError) as fault:
            environment.get_template("page.j2").render(bore=86)
        return error_location(fault.value)

    assert told() == told() == f"{tmp_path / 'page.j2'}:3"
    assert compiles == ["page.j2"]
