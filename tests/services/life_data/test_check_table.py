"""Which published or agreed check value is tested where. The values stand beside their sources in the tests named here.

row data: what: tested in
W01 NIST 20 units: Weibull fit, printed and agreed: test_weibull.test_fits_are_those_others_print
W02 NIST 20 units: line, share on age: test_weibull_plot.test_lines_are_those_others_print
W03 NIST 20 units: line, age on share, two ranks: test_weibull_plot.test_lines_are_those_others_print
W04 NIST 20 units: Fisher limits, log scale: test_weibull_limits.test_limits_are_those_others_print
W05 NIST 20 units: likelihood-ratio limits: test_weibull_limits.test_limits_are_those_others_print
W06 ball bearings: Weibull fit: test_weibull.test_fits_are_those_others_print
W07 shock absorbers: Weibull fit: test_weibull.test_fits_are_those_others_print
W08 shock absorbers: likelihood-ratio limits: test_weibull_limits.test_limits_are_those_others_print
W09 shock absorbers, mode 1: competing modes: test_weibull.test_fits_are_those_others_print
W10 shock absorbers, mode 2: competing modes, sum of likelihoods: test_weibull.test_the_modes_log_likelihoods_add_up
W11 bearing cages: Weibull fit with counts: test_weibull.test_fits_are_those_others_print
W13 bearing cages: failures in the next 300 h: test_weibull.test_failures_ahead_of_the_survivors
W14 locomotive controls: Weibull fit: test_weibull.test_fits_are_those_others_print
W15 generator fans: Weibull fit; exponential life: test_few_failures.test_the_exponential_life_of_generator_fans
W17 handbook figure 2-5: ranks, line, fit: test_weibull_plot.test_survivors_shift_the_ranks_of_later_failures
W18 handbook appendix C.5: Weibull fit: test_weibull.test_fits_are_those_others_print
W19 twenty parts 1997: limits on the natural scale: test_weibull_limits.test_limits_are_those_others_print
W20 shock absorbers, late: late entry: fit and limits: test_weibull.test_fits_are_those_others_print
K01 NIST 20 units: Kaplan-Meier, three limits: test_survival.test_curves_are_those_others_print
K02 NIST 20 units: Nelson-Aalen: test_survival.test_curves_are_those_others_print
K03 shock absorbers: Kaplan-Meier: test_survival.test_curves_are_those_others_print
K04 generator fans: ties; tie-corrected hazard: test_check_table.test_ties_counted_one_by_one_give_the_corrected_hazard
K06 four parts: failure before survivor at a tie: test_survival.test_failures_come_before_survivors_of_the_same_age
K07 six parts: entering at an age of failure: test_survival.test_who_is_registered_at_an_age_of_failure_is_not_yet_at_risk
K08 four parts: risk set emptied early: test_survival.test_a_curve_that_empties_early_says_so
K09 bearing cages: Kaplan-Meier with counts: test_survival.test_curves_are_those_others_print
M01 valve seats: mean repairs, three variances, limits: test_recurrence.test_valve_seats_at_653_days
M03 three machines: by hand: test_recurrence.test_three_machines_by_hand
M04 valve seats, late: late entry: test_recurrence.test_engines_watched_from_mid_life
G01 NIST repair times: power law freed of bias: test_trend.test_the_unbiased_power_law_of_the_handbook_page
G03 NIST repair times: maximum likelihood, Crow's limits: test_trend.test_the_maximum_likelihood_power_law
G04 NIST repair times: trend tests: test_trend.test_tests_of_the_repair_times
G05 MIL-HDBK-189 times: power law: test_trend.test_the_military_handbooks_individual_times
G06 MIL-HDBK-189 times: exact limits: test_trend.test_its_exact_limits
G07 MIL-HDBK-189 grouped: power law from counts: test_trend.test_the_grouped_example_of_the_military_handbook
G09 tables: factors of the distance: test_trend.test_factors_of_the_distance_between_repairs
G10 NASA TM-103511: worked example: test_trend.test_the_worked_example_of_the_space_agency
G11 three systems: pooled power law: test_trend.test_three_systems_pooled
G12 three systems: stopped at last failures: test_trend.test_three_systems_stopped_at_their_last_failures
G13 three systems: exact limits, misfit: test_trend.test_exact_limits_and_misfit_of_three_systems
G14 three systems: trend and common shape: test_trend.test_tests_of_three_systems
G15 valve seats: power law and trend: test_trend.test_valve_seats_get_worse
G17 three systems, late: late entry: test_trend.test_systems_watched_from_mid_life
G18 aircraft, sample 8: in order and as intervals: test_check_table.test_sorted_intervals_hide_that_they_grow_shorter
Z01 success run: parts to show a reliability: test_few_failures.test_how_many_must_survive_to_show_a_reliability
Z02 0 and 2 of 20: upper limit of a share: test_few_failures.test_the_upper_limit_of_a_share
Z03 800 h, 2 failures: limits of a rate: test_few_failures.test_limits_of_the_mean_time_between_failures
Z04 800 h, no failure: lower limit: test_few_failures.test_no_failure_in_800_hours
Z05 ten parts, no failure: borrowed shape: test_few_failures.test_ten_parts_without_failure_and_a_borrowed_shape
Z06 bearing cages: borrowed shape: test_few_failures.test_six_cage_failures_and_a_borrowed_shape
B03 pumps: shrunk rates: test_groups.test_the_pumps
F01 5 of 40, 1 of 60: Fisher's exact p: test_groups.test_a_lot_with_five_of_forty_against_one_of_sixty
F02 3 of 4, 1 of 4: Fisher's exact p: test_groups.test_the_tea_tasting_table
F03 41 and 15: exact rates, limits, mid-p: test_groups.test_two_rates_exactly_and_less_cautiously
F05 15 p-values: Benjamini-Hochberg: test_groups.test_the_example_of_benjamini_and_hochberg
A01 shape 2.5, costs 1 and 5: age of least cost: test_replacement_age.test_the_textbook_optimum
A03 shape 1 and less: no age is best: test_replacement_age.test_without_wear_out_there_is_no_optimum
T01 cosmesis, both groups: failures between looks: test_turnbull.test_the_curve_after_radiotherapy_alone_is_the_printed_one

Not tested, because no method here gives them: M05 (705 repairs of ten vehicles, which no source prints in full), G02 (the NIST
page's approximate limits; Crow's exact ones stand in G03), B01 (a prior from two quantiles), the odds ratio of F01 and the
one-sided p of F02, F06 (a likelihood-ratio test of fourteen equal rates).
"""

import importlib

import numpy as np
import pytest

from services.life_data.lives import observed
from services.life_data.survival import kaplan_meier
from services.life_data.weibull import fit
from tests.services.life_data.published import lives_of
from tests.services.life_data.repair_samples import REPAIRS

ROWS = [line.rsplit(maxsplit=1)[1] for line in __doc__.splitlines() if line[:1].isupper() and line[1:3].isdigit()]


@pytest.mark.parametrize("named", sorted(set(ROWS)))
def test_every_test_this_table_names_is_there(named):
    module, name = named.split(".")
    assert callable(getattr(importlib.import_module(f"tests.services.life_data.{module}"), name))


def test_the_table_is_whole():
    assert len(ROWS) == 58


def test_ties_counted_one_by_one_give_the_corrected_hazard():
    # K04, Fleming & Harrington 1984: R survfit, lifelines: 0.3373530786 at 8,750 h, from the same counts as our curve.
    steps = kaplan_meier(lives_of("generator-fans"))
    until = steps.age <= 8750
    pairs = zip(steps.at_risk[until], steps.failed[until], strict=True)
    told = sum(1.0 / (at_risk - one) for at_risk, failed in pairs for one in range(int(failed)))
    assert told == pytest.approx(0.3373530786, abs=1e-9)


def test_sorted_intervals_hide_that_they_grow_shorter():
    # G18, Proschan 1963, sample 8: a Weibull fit of the intervals gives 0.8535873398 ("improving"), the process in order 1.51.
    intervals = np.array(REPAIRS["air_conditioning"]["intervals"])
    assert fit(observed(intervals, np.ones(len(intervals)))).shape == pytest.approx(0.8535873398, rel=1e-8)
