"""The one server process: its doors, its certificate, what it tells the terminal."""
