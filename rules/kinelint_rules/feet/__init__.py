"""Rules about feet and what they stand on."""
