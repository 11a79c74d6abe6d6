"""`python -m training`; see `training.command`. Worker processes import this file too, so it imports nothing itself."""

if __name__ == "__main__":
    from training.command import main

    main()
