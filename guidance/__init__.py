"""From readings and answers to the answer: pure functions over a catalogue, which is data.

Rooms, each above those that it may import: network and electricity; catalogue; documents; safety and identify; parts;
learning, diagnose and advise. No room knows HTTP, a database, a page or a file but the catalogue's own.
"""
