"""One random walk at the bench: a driller who fills in, by chance, the forms that the pages of a drilling offer."""

import re
from collections.abc import Iterator
from random import Random

from fastapi import FastAPI
from httpx import Response
from sqlalchemy import select

from app.db import READ_ONLY
from app.models import Staff
from app.models.numbers import LengthNumber
from app.services import drillings, measurements
from app.services.work_outs import work_out
from tests.conftest import Client
from tests.endurance.ledger import Ledger, Record, Rows
from tests.endurance.offered import Offered, list_errors, read_forms

READ = {"depth", "pitch", "bit", "rim_12", "rim_3", "rim_6", "rim_9", "middle", "ring", "value"}  # fields of a reading
BAD = ("2 3/0", "-1", "1e400", "99", "NaN", "unknown", "x" * 500)
WEIGHTS = {
    "tick": 12, "confirmation": 12, "decision": 10, "skip": 1, "tick-removal": 1.2, "drilled": 0.25, "plugging": 0.12,
    "depth-readings": 2, "measurements": 5, "closing": 1.5, "findings": 0.7, "drillings": 0,
}  # fmt: skip
REASONS = ("the bowler asks for it", "done by hand")


_TROUBLE = re.compile(r'class="(?:error|notice trouble)"[^>]*>\s*([^<]+)')


class Walk:
    """A bowler, hardware and a driller; counts what was posted, and lets a ledger check every page and row."""

    def __init__(self, app: FastAPI, client: Client, seed: int) -> None:
        self.app, self.client, self.chance = app, client, Random(seed)
        self.bowler_id = 1 + seed % 2  # right-handed, left-handed
        self.answered: dict[str, int] = {}
        self.shown = self.kept = 0
        self.is_careful = False
        self.ball_id = self.drilling_id = 0
        self.offered: list[Offered] = []
        self.stale: list[dict[str, str]] = []
        with app.state.sessions() as session:
            session.connection(execution_options=READ_ONLY)
            people = session.scalars(select(Staff.id).where(Staff.initials.in_(("TB", "IS", "OL"))).order_by(Staff.id))
            self.people = list(map(str, people))
        self.who = next(iter(self.people))
        self.ledger = Ledger()
        self.read_rows()

    # What is posted, and what must hold after it ------------------------------------------------------------------

    def post(self, address: str, typed: dict[str, str]) -> Response:
        """Posts a form, looks at every page and lets the ledger compare every row with the history."""
        before, is_tick = self.ledger.rows, address.endswith("/tick")
        answer = self.client.post(address, typed)
        kind = address.rsplit("/", 1)[-1]
        told = f"{kind} {answer.status_code}"
        self.answered[told] = self.answered.get(told, 0) + 1
        assert answer.status_code in (303, 403, 404, 409, 422), (address, typed, answer.status_code)
        if answer.status_code == 303 and kind == "drillings":
            self.drilling_id = int(answer.headers["location"].rsplit("/", 1)[-1])
        after = self.read_rows()
        if answer.status_code == 303:
            read = [text for name, text in typed.items() if name in READ and text and text != "unknown"]
            self.ledger.keep(read)
            self.kept += len(read)
        problems = self.ledger.compare(before, after, int(typed["who"]), answer.status_code == 303)
        assert problems == [], (address, typed, problems)
        if answer.status_code == 303:  # else every row is as it was, and so is every page
            self.look(is_tick and self.is_careful)
        return answer

    def look(self, at_bench_alone: bool) -> None:
        """Renders the pages of the drilling and keeps the forms they offer.

        A tick as planned on the way out is looked at on the bench alone, unless no step is left there.
        """
        pages = [f"/drillings/{self.drilling_id}/bench", f"/drillings/{self.drilling_id}"]
        if at_bench_alone and self.state == "planned":
            pages.pop()
        elif self.chance.random() < 0.05:
            pages += [f"{pages[1]}/sheet", f"/balls/{self.ball_id}"]
        shown = {url: self.client.get(url) for url in pages if self.drilling_id}
        assert {url: page.status_code for url, page in shown.items()} == dict.fromkeys(shown, 200)
        self.shown += len(shown)
        known = {
            f.action: f
            for url, page in shown.items()
            if "drillings" in url
            for f in read_forms(page.text)
            if f.kind in WEIGHTS
        }
        self.offered = list(known.values())

    def read_rows(self) -> Rows:
        with self.app.state.sessions() as session:
            session.connection(execution_options=READ_ONLY)
            return self.ledger.read(session, self.ball_id)

    @property
    def state(self) -> str:
        return str(self.ledger.rows["drilling", self.drilling_id]["state"])

    # What is typed ------------------------------------------------------------------------------------------------

    def plan(self) -> None:
        """Adds a ball, or takes the one just plugged, and plans it from whatever its page offers."""
        if not self.ball_id or self.state != "plugged" or self.chance.random() < 0.5:
            typed = {"who": self.who, "label": f"ball {len(self.answered)}", "circumference": "27"}
            answer = self.client.post(f"/bowlers/{self.bowler_id}/balls", typed)
            self.ball_id, self.drilling_id = int(re.findall(r"\d+", answer.headers["location"])[-1]), 0
            self.ledger.forget()
            self.stale.clear()
        offered = read_forms(self.client.get(f"/balls/{self.ball_id}/drillings/new").text)
        form = next(f for f in offered if f.kind == "drillings")
        for _ in range(40):
            system = self.chance.choice(form.choices["system_id"])
            inner = (
                self.chance.choice(form.choices.get("inner_id", [""])) if system and self.chance.random() < 0.5 else ""
            )
            typed = form.values | {"system_id": system, "inner_id": inner, "who": self.who, "notes": "walked"}
            typed["finger_depth"] = self.chance.choice(("", "", "7/8", "2 3/4"))
            typed["inner_kind"] = self.chance.choice(form.choices["inner_kind"])
            for reason in ("", "he wants it so"):
                answer = self.post(form.action, typed | {"reason": reason})
                if answer.status_code == 303:
                    return
        raise AssertionError(f"no plan was ever taken of ball {self.ball_id}", set(_TROUBLE.findall(answer.text)))

    def act(self) -> None:
        """Sends one offered form, filled in by chance, at times with a stale version or a bad text."""
        if self.stale and self.chance.random() < 0.12:
            self.post_by_chance(self.chance.choice(self.stale))
            return
        weights = [WEIGHTS[form.kind] for form in self.offered]
        form = self.chance.choices(self.offered, weights)[0]
        typed = self.fill(form, careful=False)
        self.stale = [*self.stale[-30:], {"address": form.action, **typed}]
        self.post(form.action, typed)

    def post_by_chance(self, old: dict[str, str]) -> None:
        """Sends a form seen earlier once more, as a second bench or a screen left open does."""
        typed = {name: text for name, text in old.items() if name not in ("address", "key")}
        if self.chance.random() < 0.5:
            typed["version"] = str(self.ledger.rows["drilling", self.drilling_id]["version"])
        self.post(old["address"], typed)

    def fill(self, form: Offered, careful: bool) -> dict[str, str]:
        """Returns what is typed into a form; a careful driller types what was planned, and always a reason."""
        chance, typed = self.chance, dict(form.values)
        self._choose(form, typed, careful)
        planned = self.find_planned(form)
        for name in form.texts:
            right = planned.get(name, "")
            if name in ("reason", "note"):
                typed[name] = REASONS[0] if careful or chance.random() < 0.8 else ""
            elif name == "day":
                typed[name] = form.values[name]
            elif careful:
                typed[name] = right or form.values[name]
            else:
                typed[name] = chance.choice(self.vary(name, right))
        if "not_read" in form.choices and not typed["depth"]:
            typed["not_read"] = "true"
        if typed.get("depth") and "met" in typed:
            typed["met"] = "typed"
        if not careful and chance.random() < 0.1 and form.texts:
            typed[chance.choice(form.texts)] = chance.choice(BAD)
        typed["who"] = self.who = chance.choice(self.people) if chance.random() < 0.1 else self.who
        return typed

    def _choose(self, form: Offered, typed: dict[str, str], careful: bool) -> None:
        for name, choices in form.choices.items():
            if name == "datum" and careful:
                typed[name] = "unknown"  # the depth names its own
            elif name != "not_read":
                typed.setdefault(name, self.chance.choice([c for c in choices if c] or [""]))
                if not careful and name not in ("who", "hole"):
                    typed[name] = self.chance.choice(choices)

    def vary(self, name: str, right: str) -> tuple[str, ...]:
        """Returns what may be typed into a field, the planned value most often."""
        if name == "depth":
            number, _, datum = right.partition(" ")
            moved = float(number or 1) + self.chance.choice((-0.125, -0.02, 0.02, 0.0625, 0.125, 0.5, 3))
            return (
                right,
                right,
                "",
                f"{max(moved, 0.1):.4f} {datum}",
                f"{moved:.4f}" if moved > 0.1 else "",
                "unknown",
            )
        if name in ("middle", "ring"):
            off = self.chance.choice((0.004, -0.006, 0.02, -0.04, 0.2))
            return (right, right, f"{float(right or 3) + off:.4f}")
        choices = {
            "pitch": ("", "", "", "1/4 reverse, 0", "3/8 forward, 1/8 right", "unknown", "2 reverse, 2 left"),
            "bit": ("", "", "", "31/32", "1 1/16", "1 1/2", "the old one", "3"),
            "notch": ("", "6:00", "7:30", "unknown"),
            "shim": ("1/8", "1/64", "", "3", right),
            "value": ("61/64", "31/32", ""),
        }
        return choices.get(name, ("", "flush", "1/64 proud", "1/64 sunk") if name.startswith("rim") else ("",))

    def find_planned(self, form: Offered) -> dict[str, str]:
        """Returns the numbers that the plan as met gives, by the field of a form that they are typed into."""
        row = self.ledger.rows["drilling", self.drilling_id]
        plan = row["as_met"] or row["plan"]
        if form.kind == "measurements":
            return {finger: f"{work_out(plan).predicted_in(finger):.4f}" for finger in ("middle", "ring")}
        if form.kind == "tick":
            position = int(form.action.split("/")[-2])
            step = next(r for k, r in self.ledger.rows.items() if k[0] == "drilling_step" and _is_at(r, position, self))
            depths = [n.value_in for n in step["numbers"] if isinstance(n, LengthNumber) and n.what == "depth"]
            return {"depth": f"{depths[0]:.6f} {'collar' if step['action'] == 'bore' else 'crown'}"} if depths else {}
        return {"depth": f"{plan.bore.depth_in:.6f} collar" if plan.bore else "1 crown", "value": "61/64"}

    # The way out --------------------------------------------------------------------------------------------------

    def walk_out(self) -> None:
        """Ends the drilling with offered forms alone, each of which must be accepted, closed or plugged."""
        self.is_careful, way = True, self.chance.choice(("bench", "bench", "bench", "drilled", "plugging"))
        for _ in range(150):
            if self.state in ("closed", "plugged"):
                break
            form = next(self.list_ways_on(way), None)
            assert form is not None, ("stuck", self.state, [f.action for f in self.offered])
            typed = self.fill(form, careful=True)
            answer = self.post(form.action, typed)
            assert answer.status_code == 303, (form.action, typed, list_errors(answer.text))
        assert self.state in ("closed", "plugged")
        self.is_careful = False
        self.check_verdict()

    def list_ways_on(self, way: str) -> Iterator[Offered]:
        """Yields the forms that a careful driller would send, best first."""
        offered = {form.kind: form for form in self.offered}
        order = ["closing"] if self.ledger.rows["drilling", self.drilling_id]["verdict"] else []
        order += ["decision", way, "confirmation", "tick", "measurements", "drilled"]
        return (offered[kind] for kind in order if kind in offered)

    def check_verdict(self) -> None:
        """The verdict that is kept is the one that the page works out of the readings."""
        with self.app.state.sessions() as session:
            session.connection(execution_options=READ_ONLY)
            of = drillings.get_drilling(session, self.drilling_id)
            compared = measurements.compare_built(of)
            assert (compared.verdict if compared else "") == of.verdict


def _is_at(row: Record, position: int, walk: Walk) -> bool:
    return bool(row["drilling_id"] == walk.drilling_id and row["position"] == position)
