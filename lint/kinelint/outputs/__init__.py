"""A report as text: for people, for machines, for code hosts. No motion is known here."""
