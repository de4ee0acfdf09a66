"""Rule packs as they are written: what is taken, what is refused with file, rule and reason, what is shipped."""

import pytest

from scheduling.deadlines.errors import BadPack
from scheduling.deadlines.packs import read_pack
from scheduling.deadlines.rules import Unit
from scheduling.services.rule_packs import shipped

PACK = """
pack = "outpatient"
title = "Outpatient"
caution = "Verify locally."
settings = ["outpatient"]

[[rule]]
code = "review"
title = "Review"
subject = "episode"
starts = ["evaluated"]
closes = ["evaluated"]
interval = [{ number = 6, unit = "months", limit = "cosign_within_days" }]
responsible = "therapist"
remind = [{ days = -7, whom = "responsible" }]
effective_from = 2020-01-01
source = "common practice"
"""
RULE = PACK[PACK.index("[[rule]]") :]


def test_a_pack_is_read():
    pack = read_pack(PACK, file="outpatient.toml")
    (rule,) = pack.rules
    assert (rule.rule.intervals[0].number, rule.rule.intervals[0].unit) == (6, Unit.MONTHS)
    assert [(stage.days, stage.whom) for stage in rule.stages] == [(-7, "responsible")]
    assert pack.definitions[0]["effective_from"] == "2020-01-01"


@pytest.mark.parametrize(
    ("text", "rule", "reason"),
    [
        pytest.param("pack = ", "", "it is no TOML", id="no TOML"),
        pytest.param(PACK.replace('title = "Outpatient"', ""), "", "missing: title", id="a key of the pack"),
        pytest.param(PACK.replace('source = "common practice"', ""), "review", "missing: source", id="no source"),
        pytest.param(PACK.replace("closes", "close"), "review", "unknown key: close", id="a misspelt key"),
        pytest.param(PACK.replace('["evaluated"]', '["seen"]'), "review", "unknown word: seen", id="an unknown fact"),
        pytest.param(PACK.replace("number = 6", "number = -6"), "review", "negative", id="backwards"),
        pytest.param(PACK.replace("number = 6", "number = 2.5"), "review", "whole number", id="half a month"),
        pytest.param(PACK.replace('unit = "months"', 'unit = "count"'), "review", "no fact is named", id="counts"),
        pytest.param(PACK.replace("2020-01-01", '"soon"'), "review", "not a day", id="no day"),
        pytest.param(PACK + RULE, "review", "two of this code hold on 2020-01-01", id="overlap"),
    ],
)
def test_a_malformed_pack_is_refused_with_file_rule_and_reason(text, rule, reason):
    with pytest.raises(BadPack, match=reason) as refusal:
        read_pack(text, file="outpatient.toml")
    assert (refusal.value.file, refusal.value.rule) == ("outpatient.toml", rule)


def test_every_shipped_rule_has_a_source_and_every_pack_a_caution():
    packs = shipped()
    assert {pack.name for pack in packs} == {"documentation", "early_intervention", "outpatient", "school"}
    assert all(rule.source for pack in packs for rule in pack.rules)
    assert all("verif" in pack.caution or "shorter" in pack.caution for pack in packs)


def test_no_school_child_has_a_certification():
    """DESIGN.md, the fifth truth: clocks belong to the episode's rule packs."""
    of_schools = {rule.rule.code for pack in shipped() if "school" in pack.settings for rule in pack.rules}
    assert of_schools == {"note", "cosignature", "report_card"}
