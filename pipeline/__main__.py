"""`python3 -m pipeline COMMAND`: makes or finds the environment, then hands over to the commands."""

import sys

from pipeline.bootstrap import enter_environment

if __name__ == "__main__":
    enter_environment(sys.argv[1:])
    from pipeline.run.commands import main

    sys.exit(main())
