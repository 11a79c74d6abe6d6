"""Which fault, which step comes next and why: from a case to the document of troubleshooting.

May: everything below it; `troubleshoot.py` is the entry. May not: word safety by itself, or identify by itself.
"""
