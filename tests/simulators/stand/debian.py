"""What comes from Debian."""

import subprocess
import sys

from stand.place import TOP


def need(packages: list[str]) -> None:
    """Installs what is missing of `packages` as root on Debian; otherwise says what is missing and ends the program."""
    code = 'source "$1" && shift && need_packages "$@"'
    library = TOP / "packaging" / "lib" / "debian.sh"
    # The name stands in the message about what is missing.
    if subprocess.run(["bash", "-euc", code, sys.argv[0], library, *packages]).returncode:
        sys.exit(1)
