"""Names: which column, what when there is none, twice the same, or one the farm has."""

from __future__ import annotations

from pathlib import Path

import pytest
from outline_cases import area, fields, look, utm
from outline_ground import L_FIELD, SQUARE, feature, geojson, shift

from waterbudget.errors import AnswersNeeded, Refused


def with_columns(folder: Path, *rows: dict[str, object]) -> Path:
    """Write one square a row, with these properties."""
    features = [feature(area(shift(SQUARE, 200 * i)), **row) for i, row in enumerate(rows)]
    return geojson(folder / "a.geojson", *features)


def names(path: Path, **more: object) -> list[str]:
    """Return the names of the outlines in their order."""
    return [o.name for o in look(path, **more).outlines]


@pytest.mark.parametrize(
    "column", ["name", "NAME", "Nombre", "Block_Name", "LOTE", "Parcelle", "Talhão", "Title"]
)
def test_headings_that_mean_name(column: str, tmp_path: Path) -> None:
    path = with_columns(tmp_path, {"owner": "x", column: "A"}, {"owner": "y", column: "B"})
    assert names(path) == ["A", "B"]


def test_only_text_column_is_taken_and_told(tmp_path: Path) -> None:
    rows = ({"ha": 1.2, "slope": "A upper"}, {"ha": 2.0, "slope": "B lower"})
    path = with_columns(tmp_path, *rows)
    file = look(path)
    assert [o.name for o in file.outlines] == ["A upper", "B lower"]
    assert [(n.code, n.fields) for n in file.notes] == [
        ("outlines.name_column_taken", {"column": "slope"})
    ]


def test_dates_and_repeated_texts_are_no_names(tmp_path: Path) -> None:
    rows = [{"made": f"2024-01-0{i}", "crop": "guava"} for i in (1, 2)]
    assert names(with_columns(tmp_path, *rows)) == ["Block 1", "Block 2"]


def test_several_columns_are_asked_with_rows(tmp_path: Path) -> None:
    path = with_columns(tmp_path, {"a": "Up", "b": "Pink"}, {"a": "Down", "b": "White"})
    with pytest.raises(AnswersNeeded) as asked:
        look(path)
    (question,) = asked.value.questions
    assert question.choices == ("a", "b")
    assert question.sample == ("Up; Pink", "Down; White")
    assert names(path, name_column="B") == ["Pink", "White"]
    assert names(path, answers={"name_column": "b"}) == ["Pink", "White"]


def test_named_column_wins_over_name(tmp_path: Path) -> None:
    path = with_columns(tmp_path, {"name": "A", "Código": 12}, {"name": "B", "Código": 13})
    file = look(path, name_column="codigo")
    assert [o.name for o in file.outlines] == ["12", "13"]
    assert file.outlines[0].attributes == {"name": "A"}


def test_blank_ones_are_numbered_past_what_is_taken(tmp_path: Path) -> None:
    path = with_columns(tmp_path, {"name": ""}, {"name": "block  1"}, {"name": None})
    assert names(path) == ["Block 2", "block 1", "Block 3"]


def test_very_long_names_stay_apart(tmp_path: Path) -> None:
    long = "x" * 200
    first, second = names(with_columns(tmp_path, {"name": long}, {"name": long}))
    assert (len(first), len(second)) == (80, 80)
    assert second.endswith(" 2")


def test_existing_is_one_question_for_all(tmp_path: Path) -> None:
    path = with_columns(tmp_path, {"name": "East"}, {"name": "WEST "}, {"name": "New"})
    existing = {"east": utm(L_FIELD), "West": None, "East 2": None}
    with pytest.raises(AnswersNeeded) as asked:
        look(path, existing=existing)
    (question,) = asked.value.questions
    assert question.choices == ("replace", "skip", "rename")
    assert question.fields == {"count": 2, "names": "east, West"}
    assert names(path, existing=existing, answers={"existing": "replace"}) == [
        "east", "West", "New"]  # fmt: skip
    assert names(path, existing=existing, answers={"existing": "Rename"}) == [
        "East 3", "WEST 2", "New"]  # fmt: skip
    file = look(path, existing=existing, answers={"existing": "skip"})
    assert [o.name for o in file.outlines] == ["New"]
    assert [(s.name, s.why.code) for s in file.skipped] == [
        ("East", "outlines.name_exists"), ("WEST", "outlines.name_exists")]  # fmt: skip


def test_skipping_all_is_no_refusal(tmp_path: Path) -> None:
    path = with_columns(tmp_path, {"name": "East"})
    file = look(path, existing={"East": None}, answers={"existing": "skip"})
    assert file.outlines == ()
    assert len(file.skipped) == 1


def test_replaced_block_is_no_overlap(tmp_path: Path) -> None:
    path = with_columns(tmp_path, {"name": "East"})
    existing = {"East": utm(SQUARE), "West": utm(shift(SQUARE, 50))}
    file = look(path, existing=existing, answers={"existing": "replace"})
    (warning,) = file.warnings
    assert warning.code == "outlines.overlap"
    assert warning.fields == {"name": "East", "other": "West", "ha": 0.5, "percent": 50}


def test_questions_come_together(tmp_path: Path) -> None:
    rows = [{"a": "Up", "b": "Pink"}, {"a": "Down", "b": "White"}]
    features = [
        feature({"type": "Polygon", "coordinates": [[[y, x] for x, y in ring]]}, **row)
        for row, ring in zip(
            rows, ([(33, -19.9), (33.001, -19.9), (33.001, -19.899)],) * 2, strict=True
        )
    ]
    path = geojson(tmp_path / "a.geojson", *features)
    with pytest.raises(AnswersNeeded) as asked:
        look(path)
    assert {q.key for q in asked.value.questions} == {"name_column", "swap"}


def test_existing_is_asked_together_with_the_rest(tmp_path: Path) -> None:
    ring = [(33, -19.9), (33.001, -19.9), (33.001, -19.899)]
    open_one = {"type": "Polygon", "coordinates": [ring]}
    path = geojson(tmp_path / "a.geojson", feature(open_one, name="East"))
    with pytest.raises(AnswersNeeded) as asked:
        look(path, existing={"east": None})
    assert {q.key for q in asked.value.questions} == {"close", "existing"}
    path = geojson(tmp_path / "b.geojson", feature(area(SQUARE), name="East"),
                   crs={"type": "name", "properties": {"name": "EPSG:32636"}})  # fmt: skip
    with pytest.raises(AnswersNeeded) as asked:
        look(path, existing={"east": None})
    assert {q.key for q in asked.value.questions} == {"crs", "existing"}


def test_answers_are_checked(tmp_path: Path) -> None:
    path = fields(("A", area(SQUARE)))(tmp_path)
    with pytest.raises(Refused) as no:
        look(path, answers={"shape": "round"})
    assert no.value.fields["key"] == "shape"
    assert "existing" in no.value.fields["known"]
    with pytest.raises(Refused) as no:
        look(path, existing={"a": None}, answers={"existing": "maybe"})
    assert (no.value.code, no.value.fields["value"]) == ("answers.not_a_choice", "maybe")
