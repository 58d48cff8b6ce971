"""What to beware of, as it stands on printed sheets. It defers to makers and to local guidance."""

HEAT_CAUTION = (
    "Boiling water, steam and pressure vessels burn; full vessels are heavy: let two people lift them. "
    "For heating follow the vessel's manual and local guidance."
)
SPORE_CAUTION = (
    "Spores of moulds and mushrooms make people ill. Don't open a contaminated bag indoors; air the room, "
    "and wear at least an N95 respirator if you must handle or discard one. Who has asthma or a weakened "
    "immune defence stays away."
)
