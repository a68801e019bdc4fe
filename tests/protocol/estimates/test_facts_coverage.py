"""Which published value is checked by which test, and which were left out and why.

Every name on the right of COVERED must be a test in this folder or in tests/protocol/test_units.py.
"""

import ast
from pathlib import Path

HERE = Path(__file__).parent

COVERED = {
    # units
    "US bushel and gallon (NIST HB44)": "test_bushel_and_gallon",
    "rounded bushels 1.24 and 1.25 ft3": "test_rounded_bushels_in_use",
    "5, 16 and 55 gallon canisters": "test_canister_sizes",
    # grain and pressure
    "test weights, bulk densities": "test_weights_and_densities",
    "machinery table densities": "test_machinery_table_agrees",
    "sunflower, oats, sorghum disagreements": "test_disagreeing_tables_lie_in_the_ranges",
    "soybeans measured (density, friction)": "test_soybeans_as_measured_lie_in_the_ranges",
    "piling angles and tangents": "test_piling_angles",
    "USDA angles": "test_measured_angles_lie_in_the_ranges",
    "emptying angles": "test_emptying_angles",
    "30-ft cone and short form": "test_thirty_foot_cone",
    "30-ft bin, one foot": "test_one_foot_layer",
    "Janssen check A": "test_janssen_check",
    "Janssen asymptote and hydrostatic": "test_janssen_limits",
    "full-scale wall pressures": "test_full_scale_anchors",
    "K0 for 23, 27, 30 degrees": "test_pressure_at_rest",
    "562 lbf on a panel": "test_panel_with_five_feet_of_difference",
    # entrapment
    "pull forces, N and lbf": "test_published_forces_in_both_units",
    "wall +26 % and +22 %": "test_a_wall_makes_it_harder",
    "per-foot rule, one leg, full submersion": "test_every_measurement_lies_in_the_range_at_its_depth",
    "650 to 1,200 lb kept out": "test_unreferenced_figures_are_kept_out",
    "chest pressure at rest and pushing": "test_chest_pressures_in_both_units",
    "Rankine check": "test_rankine_is_not_the_chest",
    "4, 10-15, 20-30 seconds": "test_published_times_lie_in_the_range",
    "column sink model": "test_column_sink_check",
    "auger rates 10 in and 8 in": "test_auger_rates",
    "7 ft3 is not a body": "test_a_body_is_not_seven_cubic_feet",
    # openings
    "Beverloo check": "test_beverloo_check",
    "Beverloo constants, 37-50 %, 100-400 cm2": "test_constants_lie_in_the_published_ranges",
    "36-in semicircle": "test_thirty_six_inch_semicircle",
    "extrapolation flagged": "test_beyond_the_tested_size_it_is_flagged_and_widened",
    "height, shape and size of cuts": "test_more_hole_than_wall_is_refused",
    "spacing, opposite": "test_openings_are_even_and_opposite",
    "never an auger or gate": "test_time_to_lower_the_surface",
    # ring, removal
    "two sheets, four panels": "test_four_panels_from_two_sheets",
    "drum weights": "test_weight_of_a_full_canister",
    "2 x 2 x 5 ft inside": "test_an_empty_ring_holds_sixteen_bushels",
    "chest to knee net volume": "test_chest_to_knee_of_a_six_foot_person",
    "2 x 2 ft box less thickness": "test_two_foot_square",
    "panel level with a 6-ft head": "test_five_foot_panels_round_a_six_foot_person",
    "outside grain not higher (load)": "test_load_grows_with_the_square_of_the_difference",
    "panels one by one, lowest first": "test_the_order_takes_the_least_refill_each_time",
    "no pull above the knees": "test_what_is_said_instead",
    # body
    "heights of marks": "test_heights_of_a_six_foot_person",
    "lengths sum": "test_lengths_add_up_to_stature",
    "Huston cross-check": "test_heights_agree_with_another_population",
    "female waist": "test_waist_differs_little_between_women_and_men",
    "segment mass fractions": "test_segment_masses_add_up",
    "segment volumes": "test_segment_volumes_of_eighty_kilograms",
    "de Leva sums": "test_other_segment_tables_sum_to_one",
    "de Leva and Plagenhoef sensitivity": "test_other_tables_lie_within_the_stated_model_error",
    "whole-body density": "test_whole_body_density",
    "displacement check": "test_displacement_of_eighty_kilograms",
    "inconsistent hand-out example": "test_inconsistent_hand_out_example_is_not_followed",
    # purge
    "perfect mixing, K 3": "test_two_thousand_cubic_feet",
    "published purge example": "test_published_worked_example",
    "purge with source": "test_with_a_source",
    "always test again": "test_always_followed_by_test_again",
    # noise, air arithmetic
    "OSHA noise table": "test_osha_table",
    "OSHA 97 dBA": "test_osha_formula_value",
    "NIOSH noise": "test_niosh_table",
    "oxygen hides carbon dioxide": "test_nineteen_and_a_half_per_cent_hides_carbon_dioxide",
    "grams and milligrams of dust": "test_dust_limits_are_in_milligrams",
    "lifeline not below the waist": "test_with_the_least_slack_nobody_sinks_below_the_waist",
}

LEFT_OUT = {
    "friction of maize, oats, wheat, barley on steel, wood, concrete": "no estimate uses it: wall friction enters only "
    "through Janssen, by the EP433 value with the ENV 1991-4 spread",
    "EN 1991-4 Annex E means": "from memory, to be verified on a licensed copy; not needed",
    "pull angle (15 to 75 degrees)": "no estimate depends on it; it belongs to the refusal's explanation in the procedure",
    "Schwab 1985 and the 2018 force model": "numbers not seen",
    "2,000 lb when covered": "one press text, not a measurement",
    "helpless in 2 to 5 seconds": "spoken as a caution, not computed",
    "breathing through sand": "medical, not arithmetic",
    "grain vacuum 6 bu/min": "a case, not a rate to estimate from; the rate is learned from the crew",
    "auger capacity table beyond 8 and 10 in": "from memory, table not seen",
    "ASABE D274.1": "coefficients not known with confidence",
    "share of rescues that cut walls, fatality, yearly counts, durations": "statistics; no estimate uses them",
    "wet/dry vacuum rate": "none published; learned from the crew",
    "insert effort of panels": "no figures in the source",
    "stand-off of two feet, two rescuers inside": "procedure text, not arithmetic",
    "hearing action level, machine noise levels": "no estimate uses them; the level is measured on site",
    "clothes and boots": "no figure found; stated as a caution",
}


def _tests() -> set[str]:
    files = [*HERE.glob("test_*.py"), HERE.parent / "test_units.py"]
    trees = [ast.parse(file.read_text(encoding="utf-8")) for file in files]
    return {node.name for tree in trees for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_every_value_listed_as_covered_has_its_test() -> None:
    """Each published value in the table names a test that exists."""
    assert set() == set(COVERED.values()) - _tests()


def test_every_value_left_out_has_a_reason() -> None:
    """Nothing is left out silently, and nothing is both covered and left out."""
    assert all(len(reason) > 10 for reason in LEFT_OUT.values())
    assert set() == set(COVERED) & set(LEFT_OUT)
