"""`spc …`: one command a question."""

from spc.cli.app import app, main

__all__ = ["app", "main"]
