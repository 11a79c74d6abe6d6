"""Rooms, furniture and clutter round the lift. May not: hold a lift part or a look-alike."""
