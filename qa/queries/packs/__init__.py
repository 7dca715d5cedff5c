"""What an inspection pack tells, section by section."""
