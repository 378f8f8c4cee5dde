"""What will be late and what to promise, without a database: the lab as it stands, walked on many times over.

`line` names the places of a way, `known` is what the last days say of them, `walked` where each pair stood, `standing`
makes jobs and benches of both, `odds` days of minutes; `made` forecasts, `trusted` puts them right by earlier ones,
`tested` makes those of a week that is over and `scored` counts how they held; `moved` and `tried` ask what would be if,
`wished` reads what is to be tried, and `kept` keeps the lab for them.
"""
