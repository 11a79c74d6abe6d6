"""How to bring a person down by hand: one mechanism's action only when it is confirmed, else what is safe for all."""

from collections.abc import Collection, Iterable

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import Role, Sentence
from guidance.documents.answer import Advice, LoweringAdvice


def lowering_advice(
    catalogue: Catalogue, confirmed: str | None, values: Collection[str], role: Role, ordered: Collection[str] = ()
) -> LoweringAdvice:
    """Give the steps of the confirmed mechanism, or with `confirmed` None those that are safe for every value.

    `ordered`: acts that were ordered before, as after a danger sign; no step opposes one of them.
    """
    if confirmed is None:
        steps = placed(catalogue, "lowering_open", role, ordered)
        return LoweringAdvice(basis="open", mechanisms=tuple(values), steps=steps)
    own = advice(catalogue.mechanisms_by_id[confirmed].steps, role)
    before, after = (placed(catalogue, f"lowering_{p}", role, ordered) for p in ("before", "after"))
    return LoweringAdvice(basis="confirmed", mechanisms=(confirmed,), steps=(*before, *own, *after))


def placed(catalogue: Catalogue, place: str, role: Role, ordered: Collection[str] = ()) -> tuple[Advice, ...]:
    """Give the catalogue's general sentences of one place that this role may be told, in the catalogue's order."""
    here = (s for s in catalogue.sentences if s.place == place)
    return advice((s for s in here if not set(s.opposes) & set(ordered)), role)


def advice(sentences: Iterable[Sentence], role: Role) -> tuple[Advice, ...]:
    """Keep the sentences that this role may be told."""
    return tuple(
        Advice(id=s.id, text=s.text, source=s.source, roles=s.roles, signal=s.signal)
        for s in sentences
        if role in s.roles
    )
