"""JSON of records is read strictly: what is no number is not taken for one."""

import pytest
from pydantic import ValidationError

from app.schemas.records import BowlerIn


@pytest.mark.parametrize("shop", [True, "1", 1.0])
def test_a_shop_is_named_by_a_whole_number_alone(shop: object) -> None:
    body = {"name": "Dora Kettle", "hand": "right"}
    assert BowlerIn.model_validate({**body, "home_shop_id": 1}).home_shop_id == 1
    with pytest.raises(ValidationError, match="home_shop_id"):
        BowlerIn.model_validate({**body, "home_shop_id": shop})
