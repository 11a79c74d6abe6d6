"""The answer to "what is this, and what do I do now?": what was identified, with what follows from it.

May: put together what the other rooms conclude. May not: conclude by itself.
"""
