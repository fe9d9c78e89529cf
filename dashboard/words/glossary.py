"""The trade's words, each told in a sentence or two of our own; shown under Help and linked from where they occur.

`practice` marks what is common practice without a source; the others are definitions, or follow from them.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Term:
    """One word. `forms`: how else it occurs in a sentence, where that is linked; `plain`: never linked, only listed."""

    name: str
    says: str
    forms: tuple[str, ...] = ()
    practice: bool = False
    plain: bool = False


GLOSSARY: tuple[Term, ...] = (
    Term(
        "activation energy",
        "How strongly a resin's pace answers to temperature. The larger, the more cold slows it.",
        forms=("activation energies",),
    ),
    Term(
        "amine blush",
        "A greasy or waxy skin that amine hardener, carbon dioxide and water make on young epoxy. It washes "
        "off with water and keeps the next coat from bonding; a thermometer cannot see it.",
        forms=("blush",),
    ),
    Term(
        "application",
        "When the resin is laid on, as against when it is mixed. A data sheet counts its times from one or "
        "the other.",
        plain=True,
    ),
    Term(
        "Barcol",
        "A scale of hardness: a spring presses a blunt point into the part. For hard laminates.",
    ),
    Term(
        "bleeder",
        "Cloth over the peel ply that takes up resin pressed out.",
        practice=True,
    ),
    Term(
        "bond",
        "What holds two layers together. Chemical while the lower film can still react with the upper, "
        "mechanical after sanding.",
        plain=True,
    ),
    Term(
        "card",
        "A file with the numbers of one resin and hardener, copied from their data sheet. Here: the resin "
        "card.",
        forms=(
            "resin card",
            "resin cards",
        ),
    ),
    Term(
        "carve",
        "To shape a fairing coat with a rasp while it cuts like hard cheese.",
        practice=True,
        plain=True,
    ),
    Term(
        "coat",
        "One application of resin, from one pot or several, with or without cloth.",
        plain=True,
    ),
    Term(
        "conversion",
        "The share of what can react that has reacted. The page calls it cure.",
        forms=("degree of cure",),
    ),
    Term(
        "data sheet",
        "The resin maker's own numbers. It wins over everything said here.",
        forms=("data sheets",),
    ),
    Term(
        "datum temperature",
        "The temperature below which degree-hours do not count.",
        forms=("datum",),
    ),
    Term(
        "degree-hours",
        "Temperature above a datum, added up over the hours. A simple measure of how much warmth a panel has "
        "had; it takes no account of the curve by which warmth counts more.",
        forms=("temperature-time factor",),
    ),
    Term(
        "demould",
        "To take the part out of or off its mould.",
        forms=(
            "demoulded",
            "demoulding",
        ),
    ),
    Term(
        "dew point",
        "The temperature at which the air's water begins to settle on a surface.",
        forms=("dew points",),
    ),
    Term(
        "dew-point margin",
        "How much warmer the panel is than the air's dew point. Below 3 °C coating is risky, at 0 it is wet.",
        forms=(
            "margin over dew point",
            "margin over the dew point",
        ),
        practice=True,
    ),
    Term(
        "durometer",
        "A tester that presses a point into the part and shows a hardness, most often on the Shore D scale. "
        "In the cold it measures glass, not cure.",
        forms=("hardness tester",),
    ),
    Term(
        "equivalent age",
        "The hours at the card's own temperature that amount to what the panel really had.",
    ),
    Term(
        "exotherm",
        "The heat that curing makes. In a full cup it feeds itself: the pot smokes; in a thin film it is "
        "lost.",
        forms=("exothermic",),
    ),
    Term(
        "fairing",
        "Filled resin that is spread to make a surface even, then carved or sanded.",
        forms=("fairing coat",),
        practice=True,
    ),
    Term(
        "fill coat",
        "A thin coat without cloth that fills the weave. Each has a clock and a window of its own.",
        forms=("fill coats",),
        practice=True,
    ),
    Term(
        "fillet",
        "A rounded strip of thickened resin in a corner. Thick, so it warms itself, and it sags on an upright "
        "surface until it sets.",
        forms=("fillets",),
        practice=True,
    ),
    Term(
        "film",
        "A layer of resin as thin as a coat, which takes the panel's temperature at once.",
        plain=True,
    ),
    Term(
        "flange",
        "The edge that stands over the mould and is cut off.",
        practice=True,
    ),
    Term(
        "foam skim",
        "A thin, thickened first coat on bare foam, so that the foam does not drink the resin.",
        forms=("skim coat",),
        practice=True,
    ),
    Term(
        "full cure",
        "As far as the resin goes for its sheet's purposes. In a cold shed it may need warmth to get there.",
        forms=("fully cured",),
    ),
    Term(
        "gel",
        "When the liquid becomes a soft solid: it no longer runs, and its parts hold together. The film is "
        "then near tacky like tape.",
        forms=(
            "gels",
            "gelled",
            "gelation",
        ),
    ),
    Term(
        "glass transition",
        "Tg: the temperature above which the cured resin turns from glass to rubber. It rises as the resin "
        "cures; a part that gets warmer than its own Tg softens.",
        forms=(
            "Tg",
            "glass transition temperature",
        ),
    ),
    Term(
        "hardener",
        "The part, most often of amines, that cures the resin. More of it cures no faster; it leaves the film "
        "soft.",
        plain=True,
    ),
    Term(
        "laminate",
        "Cloth and resin cured into one.",
        forms=("laminates",),
        plain=True,
    ),
    Term(
        "layup",
        "The cloths of a panel in their order, or the laying of them.",
        forms=("lay-up",),
    ),
    Term(
        "lot",
        "One filling of the maker's. Two lots of the same resin can cure a little apart.",
        plain=True,
    ),
    Term(
        "masking tape",
        "The measure of tacky: the film pulls at a glove as tape does and leaves nothing on it.",
        practice=True,
        plain=True,
    ),
    Term(
        "mix ratio",
        "Resin to hardener, by weight or by volume, as the sheet prints it. Off it, the film may never cure.",
        forms=(
            "off ratio",
            "off its ratio",
            "in ratio",
        ),
    ),
    Term(
        "panel",
        "What is being made: a part with its coats, and the place where its temperature is measured.",
        plain=True,
    ),
    Term(
        "peel ply",
        "Cloth that does not stick, laid on the last coat and pulled off later. What settled on the film "
        "leaves with it; scuff all the same before bonding.",
        practice=True,
    ),
    Term(
        "ply",
        "One layer of cloth.",
        forms=("plies",),
        plain=True,
    ),
    Term(
        "post-cure",
        "Warming a part on purpose, slowly, to bring it as far as the resin goes and to raise its Tg.",
        forms=(
            "post-cured",
            "postcure",
        ),
    ),
    Term(
        "pot",
        "One cup or tray of mixed resin.",
        plain=True,
    ),
    Term(
        "pot life",
        "How long a stated mass stays usable in its pot at a stated temperature. A film lasts longer, a "
        "larger pot shorter.",
        forms=("pot lives",),
    ),
    Term(
        "print-through",
        "The weave showing in a finished surface, because the resin went on shrinking after it was sanded.",
        practice=True,
    ),
    Term(
        "recoat window",
        "From tacky like tape until a thumbnail no longer dents the film: the next coat then bonds without "
        "sanding.",
        forms=("recoat windows",),
        practice=True,
    ),
    Term(
        "relative humidity",
        "The air's water as a share of the most that it holds at that temperature.",
        forms=("RH",),
    ),
    Term(
        "release film",
        "Film or wax to which resin does not stick.",
        forms=("release agent",),
        practice=True,
    ),
    Term(
        "sag",
        "To run down an upright surface before it sets.",
        forms=("sags",),
        plain=True,
    ),
    Term(
        "sandable",
        "Sanding makes dust and the paper stays clean.",
        practice=True,
    ),
    Term(
        "scuff",
        "To dull a surface with coarse paper or a pad, so that the next layer can grip.",
        practice=True,
    ),
    Term(
        "sensitisation",
        "An allergy for life, from resin or hardener on the skin. It comes without warning, also after years.",
        forms=(
            "sensitise",
            "sensitised",
        ),
    ),
    Term(
        "setting",
        "Past wetting out, not yet tacky like tape: leave it alone.",
        plain=True,
    ),
    Term(
        "Shore D",
        "A scale of hardness from 0 to 100 for hard plastics, measured with a durometer.",
        forms=("Shore A",),
    ),
    Term(
        "squeeze-out",
        "The resin that clamps press out of a joint. It cures as the joint does: press a nail into it.",
        practice=True,
    ),
    Term(
        "tack coat",
        "A thin coat that is left to get sticky, so that cloth stays where it is put on an upright surface.",
        practice=True,
    ),
    Term(
        "tack-free",
        "A dry glove comes away clean and leaves no mark.",
        practice=True,
    ),
    Term(
        "tacky",
        "Sticky like masking tape: the glove pulls, nothing comes off. The recoat window is opening.",
        practice=True,
    ),
    Term(
        "thumbnail dents",
        "A nail leaves a mark in a film that is still soft rubber inside. When it no longer does, the recoat "
        "window has shut.",
        forms=("thumbnail no longer dents",),
        practice=True,
    ),
    Term(
        "tile",
        "A small laminate made with the part, cured beside it, and tested instead of it. Also witness tile.",
        forms=(
            "witness tile",
            "witness tiles",
        ),
    ),
    Term(
        "trim",
        "To cut the flange with a knife while the laminate is still soft. Open for about an hour.",
        forms=("trimmed",),
        practice=True,
    ),
    Term(
        "vitrification",
        "When Tg passes the panel's own temperature: the film turns to glass, feels hard, and cures only very "
        "slowly from then on.",
        forms=(
            "vitrifies",
            "glassy",
        ),
    ),
    Term(
        "wash",
        "To take blush off with plain water and a white pad, then wipe dry with clean paper before the water "
        "dries by itself. Solvent only spreads it.",
        practice=True,
        plain=True,
    ),
    Term(
        "wetting out",
        "Working resin into dry cloth until no white spot is left.",
        forms=(
            "wet out",
            "wets out",
            "wetted out",
        ),
        practice=True,
    ),
    Term(
        "window",
        "A stretch of time in which something can be done and after which it is too late.",
        plain=True,
    ),
    Term(
        "working time",
        "How long a film can be worked with roller and squeegee. Ends before the film gels.",
    ),
)
