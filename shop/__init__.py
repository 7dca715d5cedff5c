"""The site, and what the shop owns and makes."""
