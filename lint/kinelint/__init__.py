"""kinelint."""
