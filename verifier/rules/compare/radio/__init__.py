"""`radio.*`: checks of one end of a carrier, or of one carrier with both its ends.

A sound link never fails. Where two figures of the plan are at odds with what a device can tell (set
power to 0.5 dB, its own to 2 dB, level to its tolerance), what depends on them (EIRP, fade margin)
warns inside that. A bad link never passes: `steady` looks at every sample before a median may pass.
"""
