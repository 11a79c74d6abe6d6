"""Which control box and which lowering mechanism, how sure, and what to ask next.

May: weigh photos and answers, conclude, ask. May not: give advice, name a part or know of faults.
"""
