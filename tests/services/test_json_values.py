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
