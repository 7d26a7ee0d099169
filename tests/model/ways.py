"""Which commands are tried of a piece in which state, and how often: what is natural, what leads on, what tempts."""

OUTCOMES = ["double", "off_centre", "weak", "slipped", "wrong_die", "cracked", "other"]
REASONS = ["under", "over", "faulty", "borderline", "mis_struck", "unmarked", "damaged", "unwanted"]

NATURAL = {
    "poured": {"weigh_mould": 1},
    "serialled": {"strike": 4, "consign": 5, "weigh_final": 4},
    "struck": {"serial": 4, "consign": 5, "weigh_final": 4, "strike": 1},
    "mis_struck": {"condemn": 2, "archive": 1},
    "archived": {"steal": 1},
    "at_office": {"receive_back": 1},
    "hallmarked": {"weigh_final": 6, "number": 6, "spare": 1, "certify": 3, "move": 1},
    "unmarked": {"consign": 2, "move": 3, "condemn": 2},
    "spare": {"number": 3, "certify": 2, "condemn": 1, "weigh_final": 1},
    "numbered": {"certify": 6, "weigh_final": 2},
    "certified": {"reserve": 3, "sell": 5},
    "reserved": {"release": 2, "sell": 4},
    "sold": {"hand_over": 2, "dispatch": 4, "cancel_sale": 2},
    "dispatched": {"deliver": 4, "lose": 2, "send_back": 1},
    "delivered": {"give_back": 2, "buy_back": 2},
    "lost": {"find": 2, "cancel_sale": 2},
    "returned": {"restock": 2, "condemn": 1},
    "bought_back": {"restock": 2, "condemn": 1},
    "condemned": {"charge_melt": 2, "refine": 1},
    "stolen": {"recover": 3, "cancel_sale": 1, "release": 1},
}
WOUND_UP = {"poured": "weigh_mould", "graded": "condemn", "serialled": "condemn", "struck": "condemn", "mis_struck": "archive",
            "hallmarked": "condemn", "unmarked": "condemn", "at_office": "receive_back", "spare": "condemn",
            "numbered": "certify", "condemned": "refine"}
ONWARD = {"poured": "weigh_mould", "graded": "serial", "serialled": "consign", "struck": "consign", "at_office": "receive_back",
          "hallmarked": "weigh_final", "numbered": "certify", "certified": "sell", "reserved": "sell", "sold": "dispatch",
          "dispatched": "deliver", "spare": "certify"}
GRADED = {
    "accepted": {"serial": 6, "strike": 3, "fault": 1, "finish": 1},
    "under": {"condemn": 2, "move": 2},
    "over": {"finish": 3, "move": 1, "condemn": 1},
    "borderline": {"weigh_mould": 3, "move": 1, "condemn": 1},
    "faulty": {"condemn": 1},
}
# What people try, and the book must make impossible: sold twice, numbered before it is marked, sent before it is sold.
TEMPTING = {
    "graded": ["number", "strike", "certify", "consign"],
    "condemned": ["number", "sell", "serial", "condemn"],
    "serialled": ["number", "certify", "serial", "sell", "spare"],
    "struck": ["number", "certify", "spare"],
    "mis_struck": ["number", "consign", "serial", "weigh_final", "strike", "certify"],
    "archived": ["sell", "number", "condemn", "reserve"],
    "at_office": ["consign", "number", "weigh_final", "steal"],
    "hallmarked": ["number", "certify", "spare", "consign", "strike"],
    "unmarked": ["number", "weigh_final", "certify", "consign"],
    "kept": ["weigh_final", "condemn", "charge_melt"],
    "missing": ["weigh_final", "steal", "find"],
    "spare": ["sell", "certify", "close_series", "reserve"],
    "numbered": ["sell", "reserve", "number", "move", "close_series"],
    "certified": ["dispatch", "hand_over", "number", "certify", "move", "condemn", "cancel_sale"],
    "reserved": ["reserve", "dispatch", "sell", "condemn"],
    "sold": ["sell", "reserve", "deliver", "give_back", "lose", "condemn"],
    "dispatched": ["sell", "dispatch", "cancel_sale", "give_back", "steal"],
    "delivered": ["sell", "cancel_sale", "restock", "condemn", "dispatch"],
    "lost": ["sell", "deliver", "dispatch", "give_back", "steal"],
    "returned": ["sell", "deliver", "reserve", "give_back", "buy_back"],
    "bought_back": ["sell", "give_back", "reserve"],
    "stolen": ["sell", "reserve", "certify", "dispatch", "number", "close_series", "destroy", "steal"],
    "destroyed": ["sell", "recover", "condemn", "certify", "cancel_sale", "release", "charge_melt"],
    "remelted": ["charge_melt", "refine", "sell", "serial", "recover"],
    "refined": ["charge_melt", "refine", "sell"],
    "poured": ["serial", "close_melt", "condemn", "destroy", "finish"],
}
OF_SHOP = {"record_order": 6, "cancel_order": 1, "rotate": 2, "charge_melt": 2, "pour": 3, "close_melt": 2, "close_series": 1,
           "dispose_die": 1, "return_refining": 4, "agree_mixing": 1}
SINGLE = {"fault", "condemn", "move", "archive", "reserve", "release", "find", "give_back", "restock", "buy_back", "steal",
          "recover", "destroy"}
OF_SALE = {"cancel_sale", "hand_over", "dispatch", "deliver", "lose", "send_back"}
TRAYS = {"serial", "number", "spare", "certify"}

OTHERS = ["rotate", "open_session", "close_session", "charge_melt", "pour", "close_melt", "weigh_mould", "weigh_final",
          "finish", "strike", "dispose_die", "consign", "receive_back", "close_series", "record_order", "cancel_order", "sell",
          "refine", "return_refining", "agree_mixing", "sell", "weigh_final", "consign", "strike"]
