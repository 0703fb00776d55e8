from app.errors import FieldError
from app.schemas.forms import Form, Id, NeededArcText
from app.schemas.layouts import LayoutNumbers
from app.schemas.old_holes import Across, Along


class PlacesForm(Form):
    """Where pin and mass mark of a ball lie: along the centre line from the grip centre, then square across."""

    axis_point_id: Id
    pin_along: NeededArcText
    pin_along_way: Along = ""
    pin_across: NeededArcText
    pin_across_way: Across = ""
    mark_along: NeededArcText
    mark_along_way: Along = ""
    mark_across: NeededArcText
    mark_across_way: Across = ""
    is_as_read: bool = False

    def find_wrong(self) -> dict[str, FieldError]:
        """Asks which way an arc runs that is more than 0."""
        arcs = (
            ("pin_along", self.pin_along, self.pin_along_way),
            ("pin_across", self.pin_across, self.pin_across_way),
            ("mark_along", self.mark_along, self.mark_along_way),
            ("mark_across", self.mark_across, self.mark_across_way),
        )
        return {f"{name}_way": FieldError("Which way?") for name, arc, way in arcs if arc.value and not way}


class LayoutTyped(LayoutNumbers):
    """Three numbers that are shown and not saved."""

    who: Id = 0
