"""The command line: arguments in, text or JSON out, an exit status. May not: hold what a route needs, too."""
