"""Cautions that a check carries: what hurts people or the machine, said before it is done.

Common practice, no source; local codes and licensed practice come first.
"""

CAUTION_LIVE = "live work: one hand, no rings; coil supplies can hurt; keep the leads from slipping"
CAUTION_OFF = "switch off AND unplug; let capacitors discharge and measure that they have"
CAUTION_FUSE = "power off and unplugged; fit only the marked type and rating, never a larger fuse"
CAUTION_COIL = "a coil that locks on burns within seconds to a minute: be ready to switch off"
CAUTION_SOLDER = "power off and unplugged; solder fumes and lead: ventilate, wash hands"
CAUTION_LAMP = "power off; lamps and their sockets are hot"
CAUTION_MAINS = "mains: work for a qualified person; local codes decide"
CAUTION_LEAD = "clip the lead on with the power off; touch nothing else with it; take it off before going on"
CAUTION_GROUND = (
    "ONLY the driven lug, never the supply lug: that shorts the coil supply. An instant only, with an "
    "insulated lead; hands and tools clear of whatever the coil moves"
)
CAUTION_WARM = (
    "a hair dryer, no flame and no hot-air iron: warm to the hand and no more. Drive parts, resistors and "
    "lamps are hot already. The machine is live: one hand, no rings, nothing metal near it; freeze spray "
    "burns skin and eyes, may burn in sparks, and cracks hot glass"
)
CAUTION_RUN = "stay with the machine while it warms: a coil that locks on, smoke or a smell, and it goes off"
CAUTION_WIGGLE = "one hand, nothing metal; power off first if what you move carries mains or coil supply"
