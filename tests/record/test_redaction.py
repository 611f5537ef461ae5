"""Nothing private is left in a build that has been stripped, whatever fields the models may gain."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, field, notes_of
from builder.record.redaction import private_fields, without_private
from builder.record.schema_shape import shape_of
from builder.record.traversal import field_values
from tests.support.filled_records import CANARY, filled_build
from tests.support.record_samples import SHEET, ReadWith

ALL = [(name, path, who) for name, model in DOCUMENTS.items() for path, who in private_fields(model).items()]


def _everything(build: Build) -> str:
    """All that a template, a drawing or a data file could get hold of."""
    parts = [getattr(build, name) for name in DOCUMENTS]
    dumps = [part.model_dump() for part in parts if part is not None]
    json = [part.model_dump_json() for part in parts if part is not None]
    walked = [item.value for part in parts if part is not None for item in field_values(part)]
    return f"{build!r}{parts!r}{dumps!r}{json!r}{walked!r}{build.documents!r}"


def test_there_are_private_fields_and_every_one_is_filled() -> None:
    everything = _everything(filled_build(Path("x")))
    assert len(ALL) >= 12
    for name, path, who in ALL:
        assert f"{CANARY}-{who}-{name}." in everything
        assert path.split(".")[-1] in everything


def test_nothing_private_is_left() -> None:
    stripped = without_private(filled_build(Path("x")))
    assert CANARY not in _everything(stripped)
    assert "public" in _everything(stripped)


def test_a_handover_keeps_the_customers_fields_named_for_it_and_nothing_of_the_shops() -> None:
    keep = [path for name, path, _ in ALL if name == "build"]
    left = _everything(without_private(filled_build(Path("x")), keep))
    for name, path, who in ALL:
        remains = f"{CANARY}-{who}-{name}.{path}" in left
        assert remains == (name == "build" and who == "customer")
    assert f"{CANARY}-shop" not in left


def test_what_is_public_stays_as_it_was() -> None:
    build = filled_build(Path("x"))
    stripped = without_private(build)
    for name in DOCUMENTS:
        items = list(field_values(getattr(build, name)))
        private = [item.location for item in items if item.notes.private]
        before = {i.location for i in items if not any(i.location[: len(place)] == place for place in private)}
        after = {item.location for item in field_values(getattr(stripped, name)) if item.value != ()}
        assert before == after


@pytest.mark.parametrize(("name", "path", "who"), ALL)
def test_a_private_field_is_optional_and_can_hold_a_marked_value(name: str, path: str, who: str) -> None:
    model = DOCUMENTS[name]
    *around, last = path.split(".")
    for step in around:
        inner = shape_of(model.model_fields[step]).model
        assert inner is not None
        model = inner
    info = model.model_fields[last]
    assert not info.is_required()
    assert info.default is None or (notes_of(info).public_where and info.default == ())
    assert who in ("customer", "shop")
    # A private field of another kind would need a canary of its own in `filled`.
    assert shape_of(info).kind in ("text", "prose", "quantity", "entries", "map")


def test_names_that_sound_private_are_private() -> None:
    """A field called price or address that somebody forgot to mark would be published."""
    telling = (
        "customer",
        "contact",
        "address",
        "price",
        "supplier",
        "serial",
        "registration",
        "private",
        "phone",
        "mail",
    )

    def unmarked(model: type[RecordModel], at: str) -> list[str]:
        paths = []
        for name, info in model.model_fields.items():
            shape = shape_of(info)
            if shape.model is not None:
                paths += unmarked(shape.model, f"{at}.{name}")
            elif any(word in name for word in telling) and not notes_of(info).private:
                paths.append(f"{at}.{name}")
        return paths

    assert [path for name, model in DOCUMENTS.items() for path in unmarked(model, name)] == []


def test_a_new_private_field_is_found_at_any_depth() -> None:
    class Inner(RecordModel):
        """Inner."""

        secret: str | None = field("secret", "x", private="shop")
        open: str | None = field("open", "x")

    class Outer(RecordModel):
        """Outer."""

        one: Inner | None = field("one")
        many: tuple[Inner, ...] = field("many", default=())

    assert private_fields(Outer) == {"one.secret": "shop", "many.secret": "shop"}


def test_a_read_build_loses_its_private_values_and_keeps_its_lines(read: ReadWith) -> None:
    build, problems = read(
        build=f"{SHEET}price: CANARY-1\ncustomer: {{name: CANARY-2, address: CANARY-3}}\nengine_serial: CANARY-4\n",
        parts="parts:\n  - {part: pistons, supplier: CANARY-5, serial: CANARY-6, maker: Larkmoor}\n",
    )
    assert not problems
    assert build is not None
    assert "CANARY-4" in _everything(build)
    stripped = without_private(build)
    assert CANARY not in _everything(stripped)
    assert stripped.where("build.engine.cylinders") == (Path("builds/test-engine/build.yaml"), 4)
    assert "Larkmoor" in _everything(stripped)
    handover = without_private(build, customer_fields=("customer.name", "price"))
    assert "CANARY-2" in _everything(handover)
    assert all(f"CANARY-{index}" not in _everything(handover) for index in (1, 3, 4, 5, 6))


def test_a_lesson_is_private_unless_it_says_otherwise(read: ReadWith) -> None:
    build, problems = read(
        build=f"{SHEET}lessons:\n  - CANARY-1\n  - {{lesson: CANARY-2, part: CANARY-3, visibility: shop}}\n"
        "  - {lesson: gaps larger next time, part: rings, visibility: everybody}\n"
    )
    assert not problems
    assert build is not None
    assert len(build.build.lessons) == 3
    stripped = without_private(build, customer_fields=("lessons",))
    assert CANARY not in _everything(stripped)
    assert [(lesson.lesson, lesson.part) for lesson in stripped.build.lessons] == [("gaps larger next time", "rings")]
