"""`python -m training`; see `training.command`. Worker processes import this file too, so it imports nothing itself."""

if __name__ == "__main__":
    import sys

    from training.step_command import STEP_COMMANDS
    from training.step_command import main as main_without_torch

    if sys.argv[1:] and sys.argv[1] in STEP_COMMANDS:
        main_without_torch(sys.argv[1:])
    else:
        from training.command import main

        main()
