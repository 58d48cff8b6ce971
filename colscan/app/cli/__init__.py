"""The command line: a module a command, `main` the one place where errors become exit codes.

stdout carries data, stderr what is said about it. Commands import what is heavy when they run.
"""
