"""Do the limbs keep their shape?"""
