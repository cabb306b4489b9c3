"""The C joint's step instants against the exact motion.

    python -m tests.bench.joint_c_steps PROGRAM [RUNS] [SEED]

PROGRAM is `steps`, as deploy/joint/Makefile builds it. Prints the worst errors of RUNS random
runs (2000): half of the arm's usual joint, half from slow to 250,000 microsteps a second; half of
each with steps made 2 ms ahead of every change. Ends with an error where a run breaks the limits
of the motor's driver, or does not rest where it should.
"""

import sys

from tests.joint_c.step_errors import Errors
from tests.joint_c.step_runs import Program, measure


def show(name: str, errors: Errors) -> None:
    print(
        f"{name}: {errors.steps} steps, up to {errors.fastest:.0f} a second;\n"
        f"  a step off the position at which it is due by {errors.early_late:.4f} microsteps,"
        f" off its instant by {errors.early_late_us:.2f} µs (at 1000 microsteps/s and more);\n"
        f"  the motor off the exact position by 0.5 + {errors.off:.4f} microsteps in motion,"
        f" 0.5 + {errors.rest:.4f} at rest",
        flush=True,
    )


def main() -> None:
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 2000
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    program = Program(sys.argv[1])
    quarter = -(-runs // 4)
    for typical, name in ((True, "usual joint"), (False, "up to 250 kHz")):
        for ahead_us in (0, 2000):
            errors = measure(program, quarter, seed, typical=typical, ahead_us=ahead_us)
            show(f"{name}, {ahead_us} µs ahead, {quarter} runs", errors)
            seed += 1
    program.close()


if __name__ == "__main__":
    main()
