"""Spares: what lies in the stores, how many seals will be needed, how many to hold.

Reading order: `elastomers`, `hazards`, `pools`.
"""
