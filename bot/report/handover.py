"""The handover of a morning in lines: for the terminal, the chat command and the morning's post."""

from bot.model.handover import Handover, Odd, SiteAfter
from bot.model.roster import Roster
from bot.speak.catalogue import Texts

#: Odd sites named one by one in a post; more of them are counted.
MOST = 40


def lines(found: Handover, texts: Texts, roster: Roster, *, most: int = MOST) -> list[str]:
    """A line that counts, one for each site with something odd, and the names of the others."""
    odd = [site for site in found.sites if not site.fine]
    fine = [site for site in found.sites if site.fine]
    said = [texts.say("handover_counts", _counts(found))]
    said += [_site(site, texts, roster) for site in odd[:most]]
    if len(odd) > most:
        said.append(texts.say("handover_more", {"count": str(len(odd) - most)}))
    if fine:
        said.append(texts.say("handover_fine", {"sites": _names(fine)}))
    may_go = [site for site in found.sites if site.line_may_go]
    key = "handover_line" if may_go else "handover_line_none"
    said.append(texts.say(key, {"sites": _names(may_go)}))
    return said


def _counts(found: Handover) -> dict[str, str]:
    said = [site.morning for site in found.sites]
    states = [site.state for site in found.sites]
    return {
        "units": str(len(states)),
        "done": str(states.count("done")),
        "open_calls": str(states.count("reopened")),
        "registered": str(sum(site.registered for site in found.sites)),
        "checked": str(sum(site.checked for site in found.sites)),
        "soaked": str(sum(site.soaked for site in found.sites)),
        "online": str(said.count("yes")),
        "late": str(said.count("unanswered")),
        "agreed": str(said.count("waits") + said.count("again")),
    }


def _names(sites: list[SiteAfter]) -> str:
    return ", ".join(site.name for site in sites)


def _site(site: SiteAfter, texts: Texts, roster: Roster) -> str:
    odd = "; ".join(_odd(one, texts) for one in site.odd)
    who = ", ".join(map(roster.name, site.knows)) or texts.say("handover_contact_knows", {})
    args = {"site": site.name, "state": site.state, "words": odd, "who": who}
    return texts.say("handover_site", args)


def _odd(one: Odd, texts: Texts) -> str:
    args = dict(one.args)
    if "cause" in args:
        args["cause"] = texts.say(f"cause_{args['cause']}", {})
    return texts.say(f"handover_odd_{one.key}", args)
