"""The command line as outsiders rely on it: its JSON, examples, and refusals."""

import json
import re
import subprocess
from typing import Any

import pytest

from app.catalogue.load import all_rows, catalogue
from app.cli import main
from tests.live import ROOT, TAPELINE, environment

FIVE, TUG = "five_times_sit_to_stand", "timed_up_and_go"
STANDS = "thirty_second_chair_stand"
REACHES = ("seated_reach_forward", "seated_reach_lateral", "lateral_reach")
CUP, REACH, SQUARES = "tug_manual", "functional_reach", "four_square_step"
Capture = pytest.CaptureFixture[str]
#: The fields that design promises; more may be added, none may go.
RESULT = {"measure", "edition", "score", "fit", "lead", "readings", "cautions"}
SCORE = {"value", "unit", "outcome", "rule", "trials", "parts"}
READING = {
    "kind", "says", "crossed", "threshold", "direction", "unit", "population",
    "outcome_type", "percentile", "z", "verdict", "sensitivity", "specificity", "pre",
    "post", "source", "how", "matched", "differs",
}  # fmt: skip
PLAIN = [FIVE, "--trial", "16.2", "--age", "74", "--sex", "female"]


def scored(capsys: Capture, *arguments: str) -> dict[str, Any]:
    code = main(["score", *arguments, "--json"])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    result: dict[str, Any] = json.loads(out)
    return result


def lead_of(result: dict[str, Any]) -> dict[str, Any]:
    reading: dict[str, Any] = result["readings"][result["lead"]]
    return reading


def matched(result: dict[str, Any], kind: str = "cutoff") -> dict[str, Any]:
    """Readings that fit, by source; of several the first."""
    fitting: dict[str, Any] = {}
    for reading in result["readings"]:
        if reading["kind"] == kind and reading["matched"]:
            fitting.setdefault(reading["source"], reading)
    return fitting


class TestScoreJson:
    """`tapeline score --json`: the contract and the worked examples."""

    @pytest.mark.parametrize(
        "arguments",
        [
            PLAIN,
            [*PLAIN, "--before", "19.9", "--pretest", "0.3"],
            [FIVE, "--outcome", "unable", "--age", "74"],
            [CUP, "--trial", "24.9", "--with", f"{TUG}=19.8"],
            [REACH, "--trial", "9in", "--trial", "10in", "--trial", "10.5in"],
            [STANDS, "--trial", "0", "--age", "72", "--sex", "male"],
            [STANDS, "--trial", "9", "--before", "6", "--fact", "arms_used=yes"],
            *([m, *("--trial", "6in") * 3, "--age", "50"] for m in REACHES),
        ],
        ids=[
            "plain",
            "before and pretest",
            "unable",
            "paired",
            "three trials",
            "zero",
            "arms",
            *REACHES,
        ],
    )
    def test_promised_fields_are_there(
        self, capsys: Capture, arguments: list[str]
    ) -> None:
        result = scored(capsys, *arguments)

        assert set(result) >= RESULT
        assert set(result["score"]) >= SCORE
        assert set(result["fit"]) >= {"standard", "differs", "assumed"}
        assert result["edition"] == catalogue().edition
        assert result["readings"]
        for reading in result["readings"]:
            assert set(reading) >= READING

    def test_clinical_values_are_strings_of_the_shown_decimal(
        self, capsys: Capture
    ) -> None:
        lead = lead_of(scored(capsys, FIVE, "--trial", "16.249", "--age", "74"))

        assert lead["value"] == "16.2"
        assert lead["threshold"] == "15.0"

    @pytest.mark.parametrize(
        "arms", [("--fact", "arms_used=yes"), ("--input", "arms_needed=yes")]
    )
    def test_stands_with_the_arms_score_0_and_keep_their_count(
        self, capsys: Capture, arms: tuple[str, str]
    ) -> None:
        result = scored(
            capsys, STANDS, "--trial", "9", "--age", "72", "--sex", "male", *arms
        )

        assert result["score"]["value"] == "0"
        assert "Arms used" in result["score"]["reason"]
        assert result["score"]["parts"]["with_arms"]["value"] == "9"
        assert lead_of(result)["source"] == "steadi2017"
        assert lead_of(result)["value"] == "0"
        assert lead_of(result)["crossed"] is True

    def test_older_woman_leads_with_falls_and_shows_other_limits(
        self, capsys: Capture
    ) -> None:
        result = scored(capsys, *PLAIN)
        limits = {
            source: reading["threshold"]
            for source, reading in matched(result).items()
            if reading["outcome_type"] == "falls"
        }

        assert lead_of(result)["source"] == "buatois2008"
        assert lead_of(result)["crossed"] is True
        assert limits == {
            "buatois2008": "15.0",
            "buatois2010": "15.0",
            "lusardi2017": "12.0",
            "poncumhak2016": "10.02",
            "tiedemann2008": "12.0",
        }
        assert "if living in the community" in result["fit"]["assumed"]

    def test_disagreeing_sources_are_both_shown(self, capsys: Capture) -> None:
        result = scored(capsys, FIVE, "--trial", "13.9", "--age", "79")

        assert lead_of(result)["crossed"] is False
        assert matched(result)["lusardi2017"]["crossed"] is True
        assert any(c.startswith("Sources disagree") for c in result["cautions"])

    def test_recalled_rows_never_lead(self, capsys: Capture) -> None:
        result = scored(capsys, *PLAIN)
        recalled = [r for r in result["readings"] if r["how"] == "memory"]

        assert recalled
        assert lead_of(result)["how"] != "memory"

    @pytest.mark.parametrize(
        ("condition", "fits", "source"),
        [
            ("parkinson", "duncan2011fts", "duncan2011fts"),
            ("vestibular", "whitney2005", "buatois2008"),
            ("stroke", "beninato2009", "beninato2009"),
        ],
    )
    def test_condition_changes_what_fits(
        self, capsys: Capture, condition: str, fits: str, source: str
    ) -> None:
        without = matched(scored(capsys, *PLAIN))
        result = scored(capsys, *PLAIN, "--condition", condition)

        assert fits not in without
        assert fits in matched(result)
        assert lead_of(result)["source"] == source

    def test_high_seat_leads_nowhere_and_says_why(self, capsys: Capture) -> None:
        result = scored(capsys, *PLAIN, "--fact", "seat_height=20in")

        assert result["lead"] is None
        assert result["fit"]["standard"] is False
        assert result["fit"]["differs"] == [
            "seat height 20 in; published set-up: seat 17 to 18 in (43 to 46 cm)"
        ]
        assert "seat height 20 in" in result["lead_why"]
        assert not matched(result)

    def test_unable_is_a_result_without_a_number(self, capsys: Capture) -> None:
        result = scored(
            capsys, FIVE, "--outcome", "unable", "--reason", "pain", "--age", "74"
        )

        assert result["score"]["value"] is None
        assert result["score"]["outcome"] == "unable"
        assert result["score"]["reason"] == "pain"
        assert lead_of(result)["source"] == "zhang2013"
        assert lead_of(result)["threshold"] is None

    def test_change_against_an_earlier_score(self, capsys: Capture) -> None:
        result = scored(capsys, *PLAIN, "--before", "19.9")
        error = matched(result, "change")["goldberg2012"]

        assert result["change"]["verdict"] == "real gain"
        assert result["change"]["difference"] == "-3.7"
        assert (error["threshold"], error["verdict"]) == ("2.50", "real gain")

    def test_other_seat_before_is_not_comparable(self, capsys: Capture) -> None:
        result = scored(
            capsys, *PLAIN, "--fact", "seat_height=17in",
            "--before", "19.9", "--before-fact", "seat_height=18in",
        )  # fmt: skip

        assert result["change"]["verdict"] == "not comparable"
        assert result["change"]["differs"] == ["seat height: 18 in then, 17 in now"]

    def test_paired_test_gives_the_difference(self, capsys: Capture) -> None:
        result = scored(capsys, CUP, "--trial", "24.9", "--with", f"{TUG}=19.8")

        assert result["score"]["parts"]["difference"]["value"] == "5.1"
        assert result["score"]["parts"]["dual_task_effect"]["value"] == "-25.8"

    def test_unit_typed_is_the_unit_shown(self, capsys: Capture) -> None:
        result = scored(
            capsys, REACH, "--variant", "single", "--trial", "24cm", "--age", "75"
        )

        assert (result["score"]["value"], result["score"]["unit"]) == ("24.0", "cm")

    @pytest.mark.parametrize(
        ("trials", "rule", "value", "unit"),
        [
            (["4.1s", "3.9s"], "mean_of_two", "0.76", "m/s"),
            (["0.75m/s"], "single", "0.75", "m/s"),
            (["2.5ft/s"], "single", "2.50", "ft/s"),
            (["0.75m/s", "0.79m/s"], "mean_of_two", "0.77", "m/s"),
        ],
    )
    def test_walk_is_timed_or_said_as_a_speed(
        self, capsys: Capture, trials: list[str], rule: str, value: str, unit: str
    ) -> None:
        given = [part for t in trials for part in ("--trial", t)]
        fact = ["--fact", "course=10ft"]
        result = scored(capsys, "gait_speed", *given, *fact, "--age", "80")

        made = result["score"]
        assert (made["rule"], made["value"], made["unit"]) == (rule, value, unit)
        assert lead_of(result)["outcome_type"] == "falls"

    def test_unable_to_walk_is_scored_by_the_usual_rule(self, capsys: Capture) -> None:
        result = scored(capsys, "gait_speed", "--outcome", "unable", "--age", "80")

        assert result["score"]["rule"] == "mean_of_two"

    @pytest.mark.parametrize(
        ("arguments", "lead"),
        [
            (["single_leg_stance", "--trial", "3.1", "--trial", "4.2", "--trial", "2",
              "--fact", "limit=30", "--fact", "leg=left", "--age", "80"], "vellas1997"),
            (["tandem_stance", "--trial", "8.4", "--fact", "rear_foot=left",
              "--age", "80"], "tandem_aid2022"),
            (["turn_360", "--trial", "5.8", "--trial", "6.0", "--input", "steps=11",
              "--fact", "direction=left", "--condition", "parkinson"], "soke2020pd"),
        ],
    )  # fmt: skip
    def test_each_hold_and_turn_has_a_reading(
        self, capsys: Capture, arguments: list[str], lead: str
    ) -> None:
        assert lead_of(scored(capsys, *arguments))["source"] == lead

    def test_chance_needs_a_pretest(self, capsys: Capture) -> None:
        without = scored(capsys, *PLAIN)
        [chance] = [
            r
            for r in scored(capsys, *PLAIN, "--pretest", "0.3")["readings"]
            if r["kind"] == "chance"
        ]

        assert "chance" not in {r["kind"] for r in without["readings"]}
        # Odds 0.3/0.7 times 0.55/0.35, the leading source's accuracy.
        assert (chance["pre"], chance["post"]) == ("0.300", "0.402")


def test_words_say_what_json_says(capsys: Capture) -> None:
    assert main(["score", *PLAIN]) == 0
    said = capsys.readouterr().out
    result = scored(capsys, *PLAIN)

    assert said.startswith("Five times sit to stand: 16.2 s")
    assert f" * {lead_of(result)['says']}\n" in said
    for caution in result["cautions"]:
        assert f"! {caution}\n" in said


TIMED = [FIVE, "--trial"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([*TIMED, "abc"], "'abc' is not a plain number"),
        ([*TIMED, "-5"], "'-5' is below zero"),
        ([*TIMED, "0"], "0 is no result"),
        ([*TIMED, "0.00"], "0 is no result"),
        ([*TIMED, "10000"], "outside what a trial can be"),
        ([*TIMED, "NaN"], "'NaN' is not a plain number"),
        ([*TIMED, "Infinity"], "'Infinity' is not a plain number"),
        ([*TIMED, "1e2"], "'1e2' is not a plain number"),
        ([*TIMED, "1_000"], "'1_000' is not a plain number"),
        ([*TIMED, "١٢"], "is not a plain number"),
        ([*TIMED, "16,2"], "write a point, not a comma: 16.2"),
        ([*TIMED, "16.2in"], "is in in; this test takes seconds"),
        ([*TIMED, ""], "Nothing was entered"),
        ([*TIMED, "16.2\n17"], "is not a plain number"),
        ([REACH, "--variant", "single", "--trial", "130in"], "130 in is outside"),
        ([REACH, "--trial", "9in", "--trial", "10in"], "2 of 3 counted trials"),
        ([*TIMED, "16", "--trial", "15"], "2 trials for a rule that takes 1"),
        ([FIVE], "give at least one --trial"),
        (["six_times", "--trial", "9"], "no measure 'six_times'; there are: "),
        ([*TIMED, "16", "--variant", "best"], "has no variant 'best'; it has: "),
        ([*TIMED, "16", "--age", "3"], "--age 3: "),
        ([*TIMED, "16", "--age", "130"], "--age 130: "),
        ([*TIMED, "16", "--age", "7x"], "--age '7x': "),
        ([*TIMED, "16", "--age", "-74"], "--age '-74': "),
        ([*TIMED, "16", "--age", "74.5"], "--age '74.5': "),
        ([*TIMED, "16", "--sex", "f"], "invalid choice: 'f'"),
        ([*TIMED, "16", "--condition", "flu"], "invalid choice: 'flu'"),
        ([*TIMED, "16", "--setting", "moon"], "invalid choice: 'moon'"),
        ([*TIMED, "16", "--fact", "shoe=red"], "has no set-up fact 'shoe'"),
        ([*TIMED, "16", "--fact", "device=skates"], "device: 'skates' is not one of"),
        ([*TIMED, "16", "--fact", "seat_height=17"], "write a length with its unit"),
        ([*TIMED, "16", "--fact", "seat_height=0in"], "write a length with its unit"),
        ([*TIMED, "16", "--fact", "cognition=fine"], "'fine' is not one of"),
        ([*TIMED, "16", "--fact", "device"], "write it as name=value"),
        ([*TIMED, "16", "--input", "cups=2"], "has no input 'cups'; it has: none"),
        ([STANDS, "--trial", "9", "--input", "arms_needed=no"],
         "write yes, or leave it out"),
        ([*TIMED, "16", "--with", "moon=3"], "no measure 'moon'"),
        ([*TIMED, "16", "--before", "x"], "'x' is not a plain number"),
        ([*TIMED, "16", "--before-fact", "shoe=1", "--before", "9"], "no set-up fact"),
        ([*TIMED, "16", "--outcome", "unable"], "has no number: leave --trial out"),
        ([*TIMED, "16", "--outcome", "won"], "invalid choice: 'won'"),
        ([*TIMED, "16", "--pretest", "1.5"], "--pretest '1.5': "),
        ([*TIMED, "16", "--pretest", "0"], "--pretest '0': "),
        ([*TIMED, "16", "--pretest", "NaN"], "--pretest 'NaN': "),
        ([*TIMED, "16", "--pretest", "half"], "--pretest 'half': "),
        ([*TIMED, "16", "--colour", "red"], "unrecognized arguments: --colour red"),
    ],
)  # fmt: skip
def test_bad_input_is_one_line_and_exit_2(
    capsys: Capture, arguments: list[str], says: str
) -> None:
    try:
        code = main(["score", *arguments, "--json"])
    except SystemExit as left:  # argparse leaves by itself
        code = int(left.code or 0)
    out, err = capsys.readouterr()

    assert code == 2
    assert out == ""
    assert err.startswith("tapeline")
    assert err.count("\n") == 1
    assert says in err


def test_it_refuses_as_a_program_too() -> None:
    done = subprocess.run(
        [*TAPELINE, "score", *TIMED, "1e2"],
        cwd=ROOT, env=environment(), capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == (
        "tapeline: '1e2' is not a plain number. Type one like 16.2, in seconds.\n"
    )


def test_measures_are_objects_with_an_id(capsys: Capture) -> None:
    assert main(["measures", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)

    assert [m["id"] for m in listed] == list(catalogue().measures)
    assert {FIVE, TUG, CUP, REACH, SQUARES} <= {m["id"] for m in listed}
    for measure in listed:
        assert measure["rows"] > 0
        assert measure["edition"] == catalogue().edition


@pytest.mark.parametrize(
    "command",
    [
        "demo", "serve", "score", "measures", "people", "people add", "people list",
    ],
)  # fmt: skip
def test_help_shows_an_example(capsys: Capture, command: str) -> None:
    with pytest.raises(SystemExit) as left:
        main([*command.split(), "--help"])

    assert left.value.code == 0
    assert f"example:\n  tapeline {command}" in capsys.readouterr().out


def test_coverage_counts_every_row_once(capsys: Capture) -> None:
    assert main(["measures", "--coverage", "--json"]) == 0

    told = {m["id"]: m["conditions"] for m in json.loads(capsys.readouterr().out)}
    for measure in catalogue().measures.values():
        conditions = told[measure.id].values()
        tables = [cell for each in conditions for cell in each.values()]
        assert sum(table["rows"] for table in tables) == len(all_rows(measure))


def test_coverage_says_what_is_unconfirmed(capsys: Capture) -> None:
    assert main(["measures", "--coverage"]) == 0

    said = capsys.readouterr().out
    assert "five_times_sit_to_stand" in said
    assert re.search(r"vestibular +n 0\+2", said)
