"""Sheets for people: each module takes one plain dataclass and returns PDF bytes."""
