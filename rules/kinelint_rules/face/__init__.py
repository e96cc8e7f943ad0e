"""Does the face move as faces do?"""
