"""`python -m synthetic_samples`"""

import sys

from synthetic_samples.generate import main

if __name__ == "__main__":
    sys.exit(main())
