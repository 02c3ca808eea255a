"""farm.toml: read it, check it, and write a new one.

Faults are told all at once, each in one line: where, what was found, what is allowed.
"""

from scheduler.adapters.farmfile.checking import FarmCheck, check_text
from scheduler.adapters.farmfile.new_farm import (
    INIT_QUESTIONS,
    Answers,
    Question,
    answer_fault,
    contact_fault,
    new_farm_text,
    require_free_folder,
    write_new_farm,
)
from scheduler.adapters.farmfile.reading import (
    FarmFile,
    check_farm,
    farm_text,
    parse_farm,
    read_farm,
)

__all__ = [
    "INIT_QUESTIONS",
    "Answers",
    "FarmCheck",
    "FarmFile",
    "Question",
    "answer_fault",
    "check_farm",
    "check_text",
    "contact_fault",
    "farm_text",
    "new_farm_text",
    "parse_farm",
    "read_farm",
    "require_free_folder",
    "write_new_farm",
]
