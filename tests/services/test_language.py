"""Sentences in another language: numbers, days, plurals, what is missing, and who hears what at the same time."""

import contextvars
from datetime import date
from threading import Barrier, Thread

import pytest
from babel.dates import format_date
from babel.numbers import format_decimal

from services.calendar_words import say_date, say_weekday, say_weekday_date
from services.due_words import sentence
from services.forecast_words import say_range
from services.interval_rules import Due, Limits, Point, Rule
from services.language import known, localised, say, say_many, speaking, spoken
from services.summary import Taken, say_finding
from services.units import say_distance, say_pressure

DAY = date(2026, 5, 3)  # a Sunday


def test_english_is_spoken_unless_somebody_says_otherwise():
    assert (spoken(), say_date(DAY), say_distance(1234.4)) == ("en", "3 May 2026", "1,234 km")


@pytest.mark.parametrize("code", ["", "fr", "de-AT", "DE", "xx"])
def test_a_language_we_do_not_speak_is_english(code):
    with speaking(code):
        assert (known(code), spoken(), say_date(DAY)) == ("en", "en", "3 May 2026")


@pytest.mark.parametrize("month", range(1, 13))
def test_days_in_german_are_those_of_the_common_locale_data(month):  # Unicode CLDR, as Babel carries it
    day = date(2026, month, 2 * month + 1)
    with speaking("de"):
        assert say_date(day) == format_date(day, "long", locale="de")
        assert say_weekday_date(day) == format_date(day, "full", locale="de")
        assert say_weekday(day) == format_date(day, "EEEE, d. MMMM", locale="de")


@pytest.mark.parametrize("number", [0, 7, 999, 1000, 12345, 1234567])
def test_distances_in_german_are_those_of_the_common_locale_data(number):  # Unicode CLDR, as Babel carries it
    with speaking("de"):
        assert say_distance(float(number)) == f"{format_decimal(number, locale='de')} km"


def test_values_in_german():
    with speaking("de"):
        assert say_distance(1609.344, "mi") == "1.000 mi"
        assert [say_pressure(250.0), say_pressure(1034.2, "kPa")] == ["2,5 bar", "1.034 kPa"]
        assert localised("-1,234.5") == f"-{format_decimal(1234.5, locale='de')}"
        assert say_finding(Taken("chain_elongation_pct", 0.81, "replace")) == "0,81 %, an der Grenze"


def test_plural_forms():
    with speaking("de"):
        told = [say_many("{number:g} month", "{number:g} months", number) for number in (1, 2, 0, 1.5)]
    assert told == ["1 Monat", "2 Monate", "0 Monate", "1,5 Monate"]
    assert [say_many("{number:g} day", "{number:g} days", number) for number in (1, 2)] == ["1 day", "2 days"]


def test_what_a_catalogue_lacks_is_told_in_english():
    with speaking("de"):
        assert say("Nobody ever said {word:,.1f}.", word=1234.5) == "Nobody ever said 1.234,5."
        assert say("") == ""  # not the head of the catalogue


def test_a_due_line_is_told_in_german_with_its_numbers():
    rule = Rule(task="x", title="Hub oil", verb="Last changed", every_km=5000, every_months=12)
    last, limits = Point(date(2025, 5, 3), 3210.0), Limits(date(2026, 5, 3), 8210.0, None, None)
    told = {"last": last, "limits": limits, "now_km": 6543.0, "today": date(2026, 4, 20)}
    with speaking("de"):
        by_date = sentence(rule, due=Due(date(2026, 5, 3), "date", None), **told)
        by_km = sentence(rule, due=Due(date(2026, 4, 2), "km", 8210.0), **told)
    opening = "Nabenöl: Intervall 5.000 km oder 12 Monate. Zuletzt gewechselt am 3. Mai 2025 bei 3.210 km, jetzt etwa 6.543 km. "
    assert by_date == f"{opening}Zwölf Monate sind zuerst um: fällig am 3. Mai 2026."
    assert by_km == f"{opening}Die Strecke ist zuerst erreicht: war fällig am 2. April 2026 bei 8.210 km."


def test_a_range_of_days_in_german():
    with speaking("de"):
        ends = date(2026, 3, 3), date(2026, 4, 2), date(2026, 4, 25)
        assert say_range(*ends, date(2026, 1, 5)) == "Anfang März bis Ende April, am ehesten am 2. April"
        assert say_range(date(2026, 4, 1), DAY, date(2026, 4, 9), date(2026, 1, 5)) == "etwa am 3. Mai"


def test_only_numbers_are_written_anew_and_what_is_called_something_stays_as_it_is():
    class Trike:
        def __str__(self) -> str:
            return "LF-1.5,2"

    with speaking("de"):
        assert say("{some} and {last}", some=Trike(), last=1234.5) == "LF-1.5,2 und 1234,5"


def test_languages_end_where_they_began_also_after_a_failure():
    def fail() -> None:
        with speaking("de"), speaking("en"):
            assert spoken() == "en"
            raise LookupError

    with pytest.raises(LookupError):
        fail()
    assert spoken() == "en"


def test_two_readers_at_the_same_moment_each_hear_their_own():
    heard, together = {}, Barrier(2)

    def read(code: str) -> None:
        with speaking(code):
            together.wait()
            heard[code] = say_date(DAY)
            together.wait()

    readers = [Thread(target=contextvars.copy_context().run, args=(read, code)) for code in ("de", "en")]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()
    assert heard == {"de": "3. Mai 2026", "en": "3 May 2026"}
