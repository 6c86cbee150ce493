"""What must stand beside the evidence, in our own words: on the face page and at the end."""

FACE = (
    "This tool organises evidence. It does not qualify a procedure, a technique or a person: a "
    "qualification body decides. Use belongs to certified personnel trained on the mode, review "
    "to a Level III.",
    "It is no judgement of fitness for service, and it names no size that must be found: that "
    "size comes from an integrity engineer.",
    "The numbers are about the targets in these blocks. They are not the chance of finding a "
    "flaw in your component.",
    "Drilled holes, slots and notches are reference reflectors, not damage. Nothing here speaks "
    "of hydrogen attack, creep voids, stress-corrosion or other cracks unless chapter 16 holds "
    "evidence on real flaws.",
    "A rate of detection means nothing without the false calls made by the same rule; both stand "
    "together in each box. No miss or no false call among n still leaves the bound printed "
    "beside it.",
)

RESPONSES = (
    "A line of responses says more than hits and misses only where it is straight, its scatter "
    "constant and normal, and its floor at the noise; a check that fails takes the number away.",
    "A threshold from few blanks has a false-call rate that is known no better than its interval, "
    "and beyond the largest peak it rests on the law chosen.",
    "Decibels, amplitude and coherence are different responses; levels of one say nothing of "
    "another.",
)
GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "Competence and authority",
        (
            "Nobody signs in two roles that exclude each other without a declared conflict.",
            "Standards are cited, not reproduced; their edition is what the user entered. A "
            "requirement from memory is not printed as one and not judged.",
            "A demonstration before one body is no general approval under another code or in "
            "another jurisdiction.",
        ),
    ),
    (
        "Numbers",
        (
            "'Demonstrated' is withheld if the bound lies outside the tested sizes, if test "
            "targets were used before, if the order of freezing and opening is not shown, if the "
            "software changed, if the data speak for a detection that levels off with no a90/95 "
            "under it, or if the data are simulated.",
            "A bound holds as often as it says only if the curve behind it is of the right form; "
            "chapter 9 a tells how often under others. Likelihood and Wald bounds hold less often "
            "than their 95 % in small samples even then.",
            "Fewer than 60 targets of a kind are few (figure recalled from a handbook, not checked "
            "against its edition): the form of the curve can hardly be checked with them, and a "
            "test of fit without a finding says little.",
            "A curve that rises to 1 describes no lapses. A large target missed has other causes "
            "than size, and then a90 is doubtful.",
            "Where every miss is smaller than every hit, the steepness of the curve is not known: "
            "a bound may exist, a90 and a curve do not.",
            "Log and linear size, or the models near-equal, may part by more than 10 %: that is an "
            "uncertainty that no 95 % here includes. Where readers' a90 differ by more than a "
            "quarter, the mode is as good as its reader.",
            "Readings of one target by several readers are no further targets. Readers are "
            "fitted one by one, and the worst governs.",
            "Repeating a reading until it fits is not examination: repeats are listed and not "
            "counted as targets.",
            "A screening table of minimum finds and maximum false calls sorts out poor "
            "performance; it does not show a90/95.",
            "Sizes measured by ultrasonics can't serve as truth for ultrasonic sizing.",
        ),
    ),
    (
        "What the evidence stands for",
        (
            "Orientations that the trial does not hold, dead zones and the smallest size that "
            "can be told apart limit the claim; chapter 16 lists what was declared.",
            "Skipped and converted paths hold only within the declared thickness, parallelism "
            "and velocity. A clean image may be a lost mode: ask for a known echo in each image "
            "before writing 'nothing found'.",
            "'No reportable indication at this sensitivity and coverage' is not 'no flaw'.",
            "A coherence image holds no amplitude; amplitude levels don't apply to it.",
            "Simulated signals are marked on every page and never counted together with "
            "measured ones.",
        ),
    ),
    (
        "Integrity of the data",
        (
            "Opening the truth can't be undone: a blind set that was opened is an open set.",
            "A digest shows that a file did not change, not that nobody looked into it. Custody "
            "is a matter of procedure.",
            "File names, lengths of scans and marks on plates can give a size away. Check them "
            "before the trial.",
            "Persons and organisations stand under coded names.",
        ),
    ),
    (
        "People and pieces",
        (
            "Blocks are heavy and sharp: mark the mass, lift mechanically or by two, break the "
            "edges.",
            "Couplant makes floors slippery and may attack the material; read its data sheet and "
            "clean off residues.",
            "Site work needs its own permits. Nothing in this file takes that decision.",
            "Reading tires: limit sessions, and look twice at doubtful images.",
            "A suspected critical flaw in plant stops the trial: the owner is told at once, "
            "blind or not.",
        ),
    ),
    (
        "Use of this file",
        (
            "Pages 1 and 2 are one statement with their limits; no part of them stands alone.",
            "Two modes are compared on the same targets only, with both false-call rates and "
            "with who set up each.",
        ),
    ),
)
