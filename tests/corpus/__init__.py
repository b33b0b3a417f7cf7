"""Pictures of damaged symbols, made from seeds: how the decoder's ladder is tuned and how it is judged.

Two sets are made by the same code from different seeds. The TUNING set is what rungs, their order and their figures are
chosen on. The HOLD-OUT set is never looked at while anything is chosen: no rung, order, figure or damage may be changed
because of what the hold-out shows. It is run when a version is done, and its table is reported as it comes. If it has to
change something after all (a wrong read has to), its seeds are SPENT and others take their place.

`python -m tests.corpus` prints the table of the tuning set, `python -m tests.corpus --holdout` that of the hold-out.

How much damage a picture has is spread evenly from hardly any to more than anything could read, so that the rates are
those of this population and no other. What is drawn, in what order of size, and how it is damaged is common practice of
symbol testing, no source; the limits (blur of 0.6 of a module, a fifth of the symbol burnt out) are from our own trials.
"""
