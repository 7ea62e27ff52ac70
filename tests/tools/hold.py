"""Holds a file as other programs do, until it is given a line.

    hold.py record FILE    a POSIX record lock over the whole of it (fcntl), as a program that copies it may
    hold.py database FILE  SQLite's own, by Python's sqlite3: a transaction that keeps everybody out
    hold.py whole FILE     BSD's lock on the open file (flock), which is another kind and keeps no database out
"""

import fcntl
import sqlite3
import sys


def main() -> None:
    how, path = sys.argv[1:]
    if how == "database":
        database = sqlite3.connect(path, isolation_level=None)
        database.execute("PRAGMA locking_mode = EXCLUSIVE")
        database.execute("BEGIN EXCLUSIVE")
    else:
        file = open(path, "r+b")
        (fcntl.lockf if how == "record" else fcntl.flock)(file, fcntl.LOCK_EX)
    print("ready", flush=True)
    sys.stdin.readline()


main()
