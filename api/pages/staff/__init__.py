"""The screens of agents, technicians and administrators. May not: be reached without a session."""
