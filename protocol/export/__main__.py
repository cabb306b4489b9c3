"""`python -m protocol.export`: write everything that is made from the code."""

from protocol.export.outputs import main

if __name__ == "__main__":
    main()
