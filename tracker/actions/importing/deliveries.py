"""Delivery files: one trike per row with owner, rider set-up, both signatures and the serials it left with."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from zoneinfo import available_timezones

from django.conf import settings

from services.errors import Refusal
from services.identity import fold_name
from services.language import ENGLISH, LANGUAGES
from services.positions import POSITIONS, check_position
from services.units import to_km, to_kpa
from tracker.actions.importing.deliveries_write import write_deliveries
from tracker.actions.importing.fittings import USABLE, Fittings
from tracker.actions.importing.hints import Hints
from tracker.actions.importing.meters import MILLI
from tracker.actions.importing.plan import Clash, Context, NotKnown, Plan, Verdicts, rows_in
from tracker.actions.importing.staff import Staff
from tracker.actions.owners import checked_email, e164
from tracker.models import Component, Trike
from tracker.queries.clock import noon
from tracker.spreadsheets.row import Row

PART_COLUMNS = {
    "Frame serial": "frame", "Boom motor": "boom-motor", "Battery": "battery", "Display": "display",
    "Rear hub": "rear-hub", "Chain": "chain", "Rear shock": "rear-shock", "Elastomer left": "elastomer-left",
    "Elastomer right": "elastomer-right", "Brake left": "brake-left", "Brake right": "brake-right", "Seat": "seat",
}  # fmt: skip
DISTANCE = {"km": "km", "kilometres": "km", "mi": "mi", "miles": "mi"}
PRESSURE = {"psi": "psi", "bar": "bar", "kPa": "kPa"}
YES_NO = {"yes": True, "no": False, "y": True, "n": False, "true": True, "false": False}
LANGUAGE = {code: code for code in LANGUAGES} | {name: code for code, name in LANGUAGES.items()} | {"German": "de"}
GRADES = {"soft": "soft", "medium": "medium", "firm": "firm"}


@dataclass(frozen=True)
class Rider:
    """The owner as the row names them."""

    name: str
    email: str
    phone: str
    phone_e164: str
    time_zone: str
    distance_unit: str
    pressure_unit: str
    language: str
    agreed: bool | None

    @property
    def key(self) -> tuple[str, str]:
        """One name and address is one owner."""
        return fold_name(self.name), self.email.casefold()


@dataclass(frozen=True)
class Delivery:
    """One row, ready to be written."""

    frame_serial: str
    plate: str | None
    model: str
    on: date
    at: datetime
    rider: Rider
    built_by: str
    second_by: str
    reading: Decimal
    reading_unit: str
    rider_mass_kg: float | None
    shock_pressure_kpa: float | None
    elastomer_grade: str
    toe_in_mm: float | None
    parts: tuple[tuple[str, Component], ...]  # position, component; the frame first

    @property
    def reading_km(self) -> float:
        """The odometer at handover in km."""
        return float(to_km(float(self.reading), self.reading_unit))


def examine(rows: Sequence[Row], context: Context) -> Plan:
    """Judge every row against the register and the rest of the file."""
    verdicts = Verdicts(rows)
    hall = _Hall(rows, context)
    for row in verdicts.fresh():
        hall.examine_row(row, verdicts)
    verdicts.settle()
    return Plan(verdicts, lambda: write_deliveries(hall.deliveries, hall.fittings, hall.staff, context))


class _Hall:
    """The register as the file meets it, filling with every row."""

    def __init__(self, rows: Sequence[Row], context: Context) -> None:
        self.context = context
        looks = [Row(row.number, row.cells) for row in rows]
        serials = {look.serial(column) for look in looks for column in PART_COLUMNS}
        known = rows_in(Component.objects.select_related("part_type"), "serial", serials)
        self.components = {row.serial: row for row in known}
        frames = {look.serial("Frame serial") for look in looks}
        self.trikes = {row.frame_serial: row for row in rows_in(Trike.objects.all(), "frame_serial", frames)}
        plates = {look.serial("Plate") for look in looks}
        self.plates: dict[str | None, str] = {
            row.plate: f"trike {row.frame_serial}" for row in rows_in(Trike.objects.all(), "plate", plates)
        }
        self.fittings = Fittings.of(component_ids=[row.pk for row in self.components.values()])
        self.staff = Staff()
        self.hints = Hints(lambda: Component.objects.filter(serial__isnull=False).values_list("serial", flat=True))
        self.taken: dict[str, int] = {}  # serial -> row that uses it
        self.deliveries: list[Delivery] = []

    def examine_row(self, row: Row, verdicts: Verdicts) -> None:
        """Note the row's problems or take its trike in."""
        frame = row.serial("Frame serial", needed=True)
        on = row.day("Delivered", self.context.shift_days, self.context.today, needed=True)
        if frame in self.trikes and not row.problems:
            self._known_trike(row, self.trikes[frame], on, verdicts)
            return
        rider = self._rider(row, verdicts)
        builder, second = self._signatures(row, verdicts)
        plate = row.serial("Plate")
        unit = row.choice("Odo unit", DISTANCE) or "km"
        reading = row.number_in("Odometer at handover", 0, 1_000_000, needed=True)
        mass = row.number_in("Rider mass kg", 20, 250)
        toe_in = row.number_in("Toe-in mm", -10, 10)
        grade = row.choice("Elastomer grade", GRADES) or ""
        pressure = self._pressure(row)
        model = row.text("Model", 80)
        parts = self._parts(row, on)
        self._check_plate(row, plate)
        if row.problems or frame is None or on is None or reading is None:
            return
        at = noon(on)
        delivery = Delivery(
            frame,
            plate,
            model,
            on,
            at,
            rider,
            builder,
            second,
            reading.quantize(MILLI),
            unit,
            _float(mass),
            pressure,
            grade,
            _float(toe_in),
            tuple(parts),
        )
        for position, component in parts:
            self.fittings.put_in(component, frame, position, at)
            self.taken[component.serial or ""] = row.number
        if plate:
            self.plates[plate] = f"row {row.number}"
        self.deliveries.append(delivery)

    def _known_trike(self, row: Row, trike: Trike, on: date | None, verdicts: Verdicts) -> None:
        if trike.state != Trike.State.IN_BUILD and trike.delivered_on == on:
            verdicts.skip(row, "Already delivered on this day.")
            return
        state = trike.get_state_display() + (f" on {trike.delivered_on:%d %b %Y}" if trike.delivered_on else "")
        row.refuse(
            Clash(
                f"Trike {trike} is registered already ({state}).", field="Frame serial",
                remedy="Check the serial and the date; a trike in build is handed over at the desk.",
            )
        )  # fmt: skip

    def _rider(self, row: Row, verdicts: Verdicts) -> Rider:
        phone = row.text("Phone", 40)
        number = e164(phone) if phone else ""
        if phone and not number:
            verdicts.question(row, "Phone", "phone-not-read", f"'{phone}' is kept as typed but is no phone number.")
        zone = row.text("Time zone", 64) or settings.WORKSHOP_TIME_ZONE
        if zone not in _zones():
            row.refuse(
                NotKnown(f"'{zone}' is no time zone.", field="Time zone", remedy="Use a name such as Europe/Berlin.")
            )
        return Rider(
            name=row.text("Owner", 120, needed=True),
            email=self._email(row),
            phone=phone,
            phone_e164=number,
            time_zone=zone,
            distance_unit=row.choice("Units", DISTANCE) or "km",
            pressure_unit=row.choice("Shock unit", PRESSURE) or "bar",
            language=row.choice("Language", LANGUAGE) or ENGLISH,
            agreed=self._consent(row),
        )

    def _consent(self, row: Row) -> bool | None:
        """Yes or no; a remark in brackets, such as the year, may follow."""
        cell = row.cells["Consent"]
        word = cell.partition("(")[0] if isinstance(cell, str) else cell
        return Row(row.number, {"Consent": word}, row.problems).choice("Consent", YES_NO)

    def _email(self, row: Row) -> str:
        try:
            return checked_email(row.text("E-mail", 254))
        except Refusal as problem:
            problem.field = "E-mail"
            row.refuse(problem)
            return ""

    def _signatures(self, row: Row, verdicts: Verdicts) -> tuple[str, str]:
        builder, second = row.text("Built by", 80, needed=True), row.text("Second signature", 80)
        if second and self.staff.is_same(builder, second):
            row.refuse(
                Clash(
                    f"{builder} cannot sign twice: the second signature comes from another person than the builder.",
                    field="Second signature",
                    remedy="Write who checked the trike.",
                )
            )
        if not second:
            verdicts.question(row, "Second signature", "one-signature", "The second signature is missing.")
        return builder, second

    def _pressure(self, row: Row) -> float | None:
        unit = row.choice("Shock unit", PRESSURE, needed=not row.is_blank("Shock pressure"))
        value = row.number_in("Shock pressure", 0, 3_500)
        if value is None or unit is None:
            return None
        kpa = float(to_kpa(float(value), unit))
        if kpa > 3_500:
            row.refuse(
                Clash(
                    f"{value} {unit} is above 3,500 kPa.",
                    field="Shock pressure",
                    remedy="Check the pressure and its unit.",
                )
            )
        return kpa

    def _parts(self, row: Row, on: date | None) -> list[tuple[str, Component]]:
        parts = []
        here: set[str] = set()
        for column, position in PART_COLUMNS.items():
            serial = row.serial(column)
            if serial is None:
                continue
            component = self._part(row, column, position, serial, on)
            if serial in here:
                row.refuse(
                    Clash(
                        f"Serial {serial} stands twice in this row.", field=column, remedy="Each piece has one place."
                    )
                )
            here.add(serial)
            if component is not None:
                parts.append((position, component))
        return parts

    def _part(self, row: Row, column: str, position: str, serial: str, on: date | None) -> Component | None:
        component = self.components.get(serial)
        if component is None:
            row.refuse(
                NotKnown(
                    f"No part has the serial {serial}.{self.hints.near(serial)}", field=column,
                    remedy="Import the parts first, or correct the serial.",
                )
            )  # fmt: skip
            return None
        try:
            check_position(position, component.part_type.kind)
        except Refusal as problem:
            problem.field = column
            row.refuse(problem)
            return None
        self._check_free(row, column, component, on)
        return component

    def _check_free(self, row: Row, column: str, component: Component, on: date | None) -> None:
        words, remedy = "", "Check the serial."
        if component.serial in self.taken:
            words = f"Serial {component.serial} stands in row {self.taken[component.serial]} too."
        elif on and (stay := self.fittings.in_the_way(component, noon(on))):
            words = f"{component.serial} sits on trike {stay.trike_key} at {POSITIONS[stay.position].title}."
        elif component.state not in USABLE:
            words = f"{component.serial} is {component.get_state_display()}."
            remedy = "Only pieces in stock are fitted."
        if words:
            row.refuse(Clash(words, field=column, remedy=remedy))

    def _check_plate(self, row: Row, plate: str | None) -> None:
        if plate is not None and plate in self.plates:
            row.refuse(
                Clash(
                    f"Plate {plate} belongs to {self.plates[plate]}.",
                    field="Plate",
                    remedy="Every trike has its own plate.",
                )
            )


@cache
def _zones() -> set[str]:
    return available_timezones()  # reads the whole time zone folder at each call


def _float(number: Decimal | None) -> float | None:
    return None if number is None else float(number)
