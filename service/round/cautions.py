"""What goes before every visit to a drive."""

from typing import Final

from analytics.costs import motor_power_after

_SLIP: Final = 0.10
CAUTIONS: Final = (
    "Local codes, the site's own lockout procedure and licensed practice come before this sheet. A "
    "finding is a "
    "reason to inspect, never evidence that a machine is safe to touch.",
    "Before stopping a laboratory, isolation-room, kitchen or fume exhaust or a smoke-control fan, ask "
    "the owner "
    "of the space and wait for the answer.",
    "Lock and tag out at the local isolator, not at the screen: the control system, a timer or the fire "
    "alarm may "
    "start the fan again. Try to start it, then test dead.",
    "Frequency drives stay charged: wait the time on their label, then test dead at the terminals.",
    "Block the wheel: wind and other fans turn a stopped one.",
    "Never feel a belt or reach through a guard. Under a strobe moving parts look still.",
    "Loosen the motor on its base to take belts off and on; never pry them over a sheave. No belt dressing.",
    "Ask first about confined space, roof edges and what a duct has carried: some streams leave it "
    "contaminated.",
    "After tension is restored the fan draws more at the same command: after 10 % slip about "
    f"{100.0 * (float(motor_power_after(_SLIP)) - 1.0):.0f} % more power and, on a motor at two thirds "
    "of its "
    "load, about 17 % more amps. Read the amps against the nameplate before leaving.",
)
