from collections.abc import Callable

import pytest

from app import closed_sets
from app.errors import InvalidError
from app.models import Base
from app.services import json_values


@pytest.mark.parametrize(("table", "column"), closed_sets.COLUMNS)
def test_a_value_outside_a_closed_set_is_never_imported(table: str, column: str) -> None:
    of = Base.metadata.tables[table].c[column]
    spoiled = ["root"] if column in {"scopes", "reads"} else "root"
    with pytest.raises(InvalidError, match=f"root.*is no value of {table}.{column}".replace("_", " ")):
        json_values.from_json(of, spoiled)


@pytest.mark.parametrize("text", ["1e99999999", "9" * 5_000, "1/" + "9" * 5_000, "nan", "1/0", "\u0663"])
@pytest.mark.parametrize(
    ("table", "column", "wrap"),
    [
        ("insert_system", "inner_ods", lambda text: ["5/4", text]),
        ("study", "readings", lambda text: [[["1", text]]]),
        ("scale", "readings_oz", lambda text: [text]),
        ("weighing", "counted_from", lambda text: {"top_oz": text}),
        ("regulation", "body", lambda text: {"classes": [{"side_oz": text}]}),
    ],
)
def test_an_exact_number_inside_json_has_a_bounded_length(
    table: str, column: str, wrap: Callable[[str], object], text: str
) -> None:
    of = Base.metadata.tables[table].c[column]
    assert json_values.from_json(of, wrap("5/4")) == wrap("5/4")
    with pytest.raises(ValueError, match="number"):
        json_values.from_json(of, wrap(text))
