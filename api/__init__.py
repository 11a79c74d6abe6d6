"""From a request to an answer, printed, served, drawn and recorded. Start at `identification.py`.

May happen here: the command line, HTTP, pages, cases, settings. May not: reason about lifts; nothing imports this
package.
"""
