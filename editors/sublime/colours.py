"""Prints the TextMate grammar as the property list that Sublime Text reads."""

import json
import pathlib
import plistlib
import sys

path = pathlib.Path(__file__).parent.parent / "grammars" / "ampersum.tmLanguage.json"
grammar = json.loads(path.read_text("utf-8"))
plistlib.dump({**grammar, "fileTypes": ["amp"]}, sys.stdout.buffer)
