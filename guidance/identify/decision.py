"""What to conclude about a component: the decision of least expected cost, with thresholds that no cost can lower.

With p the probability of the favourite, and costs in minutes from the catalogue (`decision.<component>`):

    confirmed   (1 - p) * wrong_action_min                  act on it: order the part, tell the lowering action
    likely      (1 - p) * wrong_lead_min + question_min     advise for it, and ask once more before acting
    unlisted    the same, with p the probability of `unlisted`
    undecided   undecided_min                               ask before advising anything in particular

The cheapest wins, the more cautious where they tie. `confirmed` is open only when the set holds one value, p reaches
`ordering_threshold`, and the favourite's features were read or answered in their own right: that all of them are right
must have the probability `feature_threshold` when every combination is equally likely before. So a fleet's share that
is typed wrongly orders no part. Where sources contradict one another, p is the lowest probability that the favourite
has when one of them in turn is left out. A component that is `held_back` is never confirmed, however sure it is.
"""

from dataclasses import dataclass

from classifier.taxonomy import UNLISTED
from guidance.catalogue.rows import DecisionCosts
from guidance.documents.answer import Verdict


@dataclass(frozen=True)
class Standing:
    """What is known of one component.

    `lowest`: the favourite's lowest probability over the ways to resolve a contradiction. `feature_belief`: the
    probability that all of the favourite's features are right, with no prior.
    """

    seen: bool
    favourite: str
    lowest: float
    values: frozenset[str]
    feature_belief: float


def decide(standing: Standing, costs: DecisionCosts) -> Verdict:
    """Choose the verdict of least expected cost among those that are open."""
    if not standing.seen:
        return "not_seen"
    open_verdicts = expected_costs_min(standing, costs)
    return min(open_verdicts, key=open_verdicts.__getitem__)


def reason_held_back(standing: Standing, costs: DecisionCosts) -> str:
    """Give the reason why this is not confirmed that else would be; empty for anything else."""
    if not costs.held_back or decide(standing, costs.model_copy(update={"held_back": ""})) != "confirmed":
        return ""
    return costs.held_back


def expected_costs_min(standing: Standing, costs: DecisionCosts) -> dict[Verdict, float]:
    """Give the expected cost in minutes of every verdict that is open, the most cautious first."""
    wrong = 1.0 - standing.lowest
    lead = wrong * costs.wrong_lead_min + costs.question_min
    if standing.favourite == UNLISTED:
        return {"undecided": costs.undecided_min, "unlisted": lead}
    open_verdicts: dict[Verdict, float] = {"undecided": costs.undecided_min, "likely": lead}
    if may_be_confirmed(standing, costs):
        open_verdicts["confirmed"] = wrong * costs.wrong_action_min
    return open_verdicts


def may_be_confirmed(standing: Standing, costs: DecisionCosts) -> bool:
    """Say whether the thresholds allow `confirmed`, whatever it would cost."""
    return (
        not costs.held_back
        and standing.values == {standing.favourite}
        and standing.lowest >= costs.ordering_threshold
        and standing.feature_belief >= costs.feature_threshold
    )
