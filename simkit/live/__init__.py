"""The live bench page: a local server whose fast model answers while one types.

Loopback only, a random token in the address, foreign origins refused; full rehearsals run as
processes of their own that end with the server, and the server ends when its last page is gone.
"""
