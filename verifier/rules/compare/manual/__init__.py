"""`manual.*`: what a person saw and entered."""
