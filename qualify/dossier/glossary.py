"""One page of terms as this dossier uses them."""

EXAMINED_ONLY = "examined only"
RESPONSE_TERMS: tuple[tuple[str, str], ...] = (
    ("class of readers", "the readers from whom those of the trial were drawn; its mean POD"),
    ("cluster-robust", "with errors that know which readings are of one target"),
    ("Holm", "p adjusted so that among several tests one false alarm is as rare as it says"),
    ("kappa", "agreement beyond what chance gives: 1 full, 0 none"),
    ("McNemar's test", "exact test on the targets that one mode hit and the other missed"),
    ("random intercept", "a curve in which targets of one size may be harder or easier"),
    ("ceiling", "level at or above which a response is saturated: it counts as at least that"),
    ("declared rate", "false-call rate per blank unit for which a threshold was set"),
    ("exact bound", "bound of a line of responses of which none is censored (non-central t)"),
    ("floor", "level at or below which a response is lost in noise: it counts as at most that"),
    ("Gumbel law", "law of the largest of many like values; here of the peak noise of a unit"),
    ("line of responses", "response against size, straight on the axes of the plan, with a normal "
     "scatter about it"),
    ("safe threshold", "lowest threshold that keeps the declared rate at 95 % confidence, if the "
     "law of the noise is true"),
)  # fmt: skip
TERMS: tuple[tuple[str, str], ...] = (
    ("a50, a90", "size at which the fitted curve says that 50 or 90 of 100 targets are found"),
    (
        "a90/95",
        "upper bound, one-sided 95 %, on a90: the size to which the true a90 may reach on the "
        "safe side",
    ),
    ("as found", "all first readings, before anything was put right"),
    (
        "after remedy",
        "with removals and re-readings that the declaration records taken into account",
    ),
    ("bias", "mean of reported minus true size; negative = undersized on the whole"),
    ("blank unit", "grading unit without a target; shown to be blank by the check named"),
    ("blind set", "targets whose truth was kept from the readers until calls were handed in"),
    (
        "bound",
        "a limit drawn so that the true value lies on its safe side in the stated share of "
        "trials; one-sided unless said otherwise",
    ),
    (
        "calibrated bound",
        "likelihood-ratio bound whose limit is set by simulating trials of the same sizes at the "
        "curve that the bound itself names; exists also where hits and misses do not overlap",
    ),
    ("call", "a reader's statement that there is an indication"),
    ("deviation", "something that went wrong with the evidence; printed with its remedy"),
    ("digest", "SHA-256 of a file: two files with the same digest are the same"),
    ("evidence grade", "A (best) to F: the weakest link in the chain under a claim"),
    (EXAMINED_ONLY, "after remedy, with flawed units that were not examined left out"),
    ("false call", "a call on a blank unit, or in a flawed unit away from its targets"),
    (
        "false call in a flawed unit",
        "a call in a unit that holds a target, too far from it to be a hit; counted apart, not in "
        "the false-call rate",
    ),
    (
        "false-call rate",
        "share of examined blank units with at least one call, with exact binomial bounds",
    ),
    ("Firth bound", "bound from a likelihood penalised so that a slope can always be estimated"),
    ("fitted curve", "POD against size by maximum likelihood, two parameters, rising to 1"),
    ("frozen, sealed", "fixed by digests in the log of events: the plan before truth is opened, "
     "the truth before the trial; digests show change, not who looked"),
    ("grading unit", "a stretch of a piece that gets one verdict"),
    ("hit, miss", "a target with and without a matching call"),
    (
        "holds",
        "a bound holds in a simulated trial if the true value lies on its safe side, or if the "
        "trial gives no bound; told as a share of simulated trials, if the curve named is true",
    ),
    ("indication", "something in an image that meets the reading rule"),
    ("likelihood bound", "bound from the likelihood of the data and a rule for large trials; "
     "holds less often than it says in small ones"),
    ("limits of agreement", "bias ∓ 1.96 SD: where 95 % of sizing errors are estimated to lie, "
     "without a promise; a tolerance interval makes one"),
    ("matching rule", "how near a call must lie to a target to count as a hit"),
    ("met, not met, not demonstrated", "the three verdicts; see chapter 15"),
    ("near-equal models", "models whose AIC lies within 2 of the best: they describe the data "
     "about as well"),
    ("not examined", "a unit without a valid reading; counts as the plan says"),
    ("plateau", "share of targets found however large they are, where detection levels off; a "
     "curve that rises to 1 has a plateau of 1"),
    ("POD", "probability of detection: share of targets of a size that are found"),
    (
        "re-reading",
        "a second reading of a unit, as a remedy; it takes the place of the first after remedy, "
        "and the first stays in chapter 8",
    ),
    ("r* bound", "likelihood bound with a correction for small trials (modified signed root)"),
    ("RMSE", "root mean square of reported minus true size"),
    ("SD of the method", "SD of sizing errors with the uncertainty of the true sizes taken off"),
    ("separated data", "all misses smaller than all hits: the slope can't be estimated and no "
     "curve is drawn; a calibrated bound may exist"),
    ("set", "set-up, open, blind or reserve; a target belongs to one at a time"),
    ("tested range", "smallest to largest size in the trial; nothing is claimed outside it"),
    (
        "tolerance interval, tolerance 95/95",
        "interval that holds 95 % of sizing errors, at 95 %, if they are normally distributed",
    ),
    ("U (k = 2)", "expanded uncertainty of a measured size: twice its standard uncertainty"),
    ("undersizing 95/95", "amount by which at most 5 % of targets are undersized by more, at 95 %"),
    ("Wald bound", "simpler bound (delta method), printed to compare; holds less often still"),
    ("worst reader", "for detection the reader with the largest a90/95, or with none; elsewhere "
     "the reader who is worst on the number told"),
)  # fmt: skip
