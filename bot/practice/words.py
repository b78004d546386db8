"""What simulated people type. These are answers to the bot, not texts of the bot."""

TYPED: dict[str, tuple[str, ...]] = {
    "yes": ("yes that's fine", "Yes", "ok yes"),
    "here": ("yes I'm here", "yes", "ready"),
    "done": ("done", "Done!", "ok done", "all done"),
    "same": ("yes", "yes it's the same"),
    "carton_fine": ("it's here and looks fine", "yes, here and undamaged"),
    "contact_yes": ("yes, both", "yes I'll be there"),
    "works": ("it works", "works fine", "yes, it does", "it's fine"),
    "broken": ("it does not work", "it's not working", "no, still nothing"),
    "lead_one": ("one piece", "it's one piece"),
    "light:dark": ("the light is off", "no light"),
    "light:starting": ("steady white", "it is white and not blinking"),
    "light:loading": ("white and blinking slowly", "white, slow blinking"),
    "light:reaching": ("green and blinking fast", "green blinking quickly"),
    "light:registered": ("steady green", "it's green now, steady"),
    "light:not_reached": ("yellow and blinking slowly", "slow yellow blinking"),
    "light:fault": ("it's red, steady", "steady red light"),
}
SMOKE = "there is smoke coming out of it"
STOP = "we have to stop, the building is closing"
HELP = "help, I don't understand this at all"
POWER_CUT = "sorry, I turned it off and on again"
MORE_TIME = "give me 15 min"
WRONG_SERIAL = "HML-9ZZZ99"
CALLBACK = "01632 960777, at 8 in the evening"
