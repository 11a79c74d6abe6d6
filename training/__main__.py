"""`python -m training`; see `training.command`. Worker processes import this file too, so it imports nothing itself."""

if __name__ == "__main__":
    import sys

    from training.step_command import STEP_COMMANDS
    from training.step_command import main as step_main
    from training.store_command import STORE_COMMANDS
    from training.store_command import main as store_main

    if sys.argv[1:] and sys.argv[1] in STEP_COMMANDS:
        step_main(sys.argv[1:])
    elif sys.argv[1:] and sys.argv[1] in STORE_COMMANDS:
        store_main(sys.argv[1:])
    else:
        from training.command import main

        main()
