"""What other molds show where one is off, and what a revision of the joint means for
what came after a correction."""

SAME_PLUG = (
    "{code}, from the same plug, shows the same in {where}: then it is the plug's, as "
    "far as its molds can be told. Correct {plug}, or every mold from it."
)
SAME_HAND = (
    "{code}, of the other hand, shows the same in {where}: then it is the design's, or "
    "that of what both were made from, and the openings' as likely as the molds'."
)
SAME_PLUG_ALL = (
    "{code}, all from the same plug, show the same in {where}: then it is the plug's, "
    "as far as its molds can be told. Correct {plug}, or every mold from it."
)
PLUG_DONE = (
    "The same in {where} is shown by {code}, from the same plug. {plug} was corrected "
    "there since this mold was made ({labels}): only the mold is left to correct."
)
SOME_OF_PLUG = (
    "The same in {where} is shown by {code}, from the same plug, but not for certain "
    "by {others} of that plug: it is not shown to be {plug}'s."
)
ONLY_THIS = "Not shown by {codes}: {where}. That is this mold's."
NOT_DESIGN = (
    "Not shown by {codes}, of the other hand: {where}. That is this mold's, or of what "
    "it was made from."
)
KIN_UNSURE = (
    "Other molds leave open whether they show {where} too: more pulls of them would "
    "tell whether that is this mold's."
)
OTHER_STATE = (
    "{plug} was corrected here between this mold and {codes}: that says nothing of it."
)
KIN_UNTOLD = "Nothing can be told yet of {codes} here."
WITH_THE_MOLD = "What is the plug's or the design's is told with the mold."
NO_KIN = (
    "No other mold of this plug, nor one of the other hand, has parts that were read "
    "here: what is the plug's or the design's is told with the mold."
)
REVISED = (
    "The joint was revised since (rev {then} to {now}): what came is compared by the "
    "limits of rev {then}, by which this was told."
)
REVISED_SOME = (
    "The joint was revised since (rev {then} to {now}): stations {gone} have moved, "
    "turned or gone and are not compared; the others are, by the limits of rev {then}."
)
REVISED_ALL = (
    "The joint was revised since (rev {then} to {now}): no station is where and as it "
    "was, and none is compared."
)
