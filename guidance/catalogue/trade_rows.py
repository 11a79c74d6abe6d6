"""The rows that say what goes with a lift: options, sockets, care, and aids that this tool is not for."""

from pydantic import Field

from guidance.catalogue.rows import Flag, Identifier, Row, Sentence, Text


class Option(Sentence):
    """What can be had for a lift, or may be done with it, in a sentence.

    `available`: false for what cannot be had. `parts`: the parts that it takes, named once the box is confirmed.
    """

    generations: tuple[Identifier, ...] = ()
    available: Flag = True
    parts: tuple[Identifier, ...] = ()


class Socket(Row):
    """One socket of the box, for setting a lift up.

    `where`: how it is found. `takes`: the plug that goes in; left out, the socket stays empty. `wrong`: how the lift
    behaves or looks when it holds another plug, or none.
    """

    id: Identifier
    where: Text
    takes: Text | None = None
    wrong: Text
    generations: tuple[Identifier, ...] = Field(min_length=1)
    source: Text


class Aftercare(Sentence):
    """A sentence for the time after the trouble, once the lift works."""

    generations: tuple[Identifier, ...] = ()


class NotThisTool(Row):
    """Another kind of aid that is asked about here by mistake.

    `when[observation]`: the answers by which it is told. `say`: what is said of it instead of any advice on a lift.
    """

    id: Identifier
    name: Text
    when: dict[Identifier, Identifier] = Field(min_length=1)
    say: tuple[Sentence, ...] = Field(min_length=1)
