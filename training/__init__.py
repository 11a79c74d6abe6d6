"""Pictures to weights, and how good they are. The only home of torch; start at `command.py`.

May happen here: teaching, exporting, calibrating and measuring. May not: serving; nothing imports this package. Its
rooms, arrows down only: data ← nets ← loop ← measure ← ood ← calibrate ← evaluate ← owned ← steps ← report ← card.
"""
