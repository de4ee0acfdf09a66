"""The findings told in plain sentences: facts about what was recorded, never why."""

from dataclasses import replace

from goals.enums import CriterionState, Purpose
from goals.progress.definitions import RANKED, GoalSpec
from goals.progress.results import Findings
from goals.progress.words import day_words, plural

CLOSING = "These numbers describe what was recorded; they do not say why."


def with_sentences(goal: GoalSpec, findings: Findings) -> Findings:
    """The same findings with everything they say, most important first."""
    said = [
        *_criterion_sentences(findings),
        findings.level.sentence,
        findings.baseline.sentence,
        *_ways(goal, findings),
        *(part.sentence for part in _own_theory(findings) if part is not None),
        *_left_out(findings),
        CLOSING,
    ]
    return replace(findings, sentences=tuple(said))


def _criterion_sentences(findings: Findings) -> list[str]:
    found = findings.criterion
    said = [found.sentence]
    if found.state == CriterionState.MET:
        preliminary = ", preliminary until every note is co-signed" if found.preliminary else ""
        first = f", first on {day_words(found.first_met_on)}" if found.first_met_on else ""
        said.insert(0, f"The criterion is met{preliminary}{first}.")
    elif found.state == CriterionState.NOT_MET:
        first = f"; it was met on {day_words(found.first_met_on)}" if found.first_met_on else ""
        said.insert(0, f"The criterion is not met{first}.")
    return said


def _ways(goal: GoalSpec, findings: Findings) -> list[str]:
    """Percent and slope; of ordered kinds one sentence for both."""
    if goal.measure.kind in RANKED:
        return ["No percent, no slope: ordered."]
    if goal.purpose == Purpose.MAINTAIN:
        return [findings.slope.sentence]
    return [findings.percent.sentence, findings.slope.sentence]


def _own_theory(findings: Findings) -> list:
    return [findings.interval, findings.ranks, findings.reliable_change, findings.attainment]


def _left_out(findings: Findings) -> list[str]:
    said = []
    if findings.not_measured:
        said.append(f"Nothing was measured {_times(findings.not_measured)}, with a reason.")
    short = sum(visit.qualifies is False for visit in findings.visits)
    if short:
        said.append(f"{plural(short, 'visit')} with less than the minimum data left out.")
    if findings.outside_phases:
        said.append(f"{plural(findings.outside_phases, 'measurement')} outside every phase left out.")
    return said


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
