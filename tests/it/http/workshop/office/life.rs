//! One edition from the first scale to a piece that comes back, by the office's forms; what the bench does goes through the API.

use super::{Desk, last};
use crate::http::item;
use pourbook::domain::{Consignment, Die, Order, Owner, Sale, Scale, Series};
use pourbook::views::Tabled;
use serde_json::{Value, json};

fn rows<T: Tabled>(desk: &Desk) -> Vec<T> {
    desk.app.app.views.list(&|_: &T| true, None, 50).unwrap().rows
}

const SCALE: &[(&str, &str)] = &[
    ("label", "bench scale by the window"),
    ("class", "II"),
    ("d", "0,01"),
    ("e", "0.01 g"),
    ("max", "600"),
    ("repeatability", "0.003"),
    ("verified", "yes"),
    ("note", "bought second hand & checked"),
];

fn series<'a>(code: &'a str, kind: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("code", code),
        ("kind_of", kind),
        ("title", "Saltlantern"),
        ("metal", "silver"),
        ("fineness", "999"),
        ("unit", "g"),
        ("digits", "4"),
        ("marking", "required"),
    ]
}

fn edition() -> Vec<(&'static str, &'static str)> {
    let mut fields = series("ST", "edition");
    fields.extend([
        ("shapes/1/shape", "oval"),
        ("shapes/1/size", "3"),
        ("shapes/2/shape", ""),
        ("shapes/2/size", ""),
        ("limits/nominal", "50"),
        ("limits/lower", "50,00"),
        ("limits/upper", "51.20"),
        ("struck", "yes"),
        ("spares_sold", "yes"),
    ]);
    fields
}

/// What stands before anything is poured.
struct Set {
    scale: String,
    edition: String,
    open: String,
    die: String,
}

async fn set_up(desk: &Desk) -> Set {
    desk.refused(
        "/scales/new",
        &[("class", "II"), ("d", "fine"), ("max", "600")],
        422,
        "f-d-fault",
    )
    .await;
    let mut impossible = SCALE.to_vec();
    impossible[2] = ("d", "0.1");
    desk.refused("/scales/new", &impossible, 422, "scale cannot be so")
        .await;
    assert_eq!(desk.once("/scales/new", SCALE).await, "/office/setup");
    let scale = &rows::<Scale>(desk)[0];
    assert!(scale.verified && scale.d.to_string() == "0.01");

    // An edition without limits cannot be, and is told so with everything kept.
    desk.refused(
        "/series/new",
        &series("ST", "edition"),
        422,
        "an edition has shapes",
    )
    .await;
    assert_eq!(desk.once("/series/new", &edition()).await, "/office");
    desk.refused("/series/new", &edition(), 409, "another series has the code")
        .await;
    let mut open = series("GW", "open");
    open[4] = ("fineness", "958");
    desk.once("/series/new", &open).await;
    let all = rows::<Series>(desk);
    assert!(all[0].struck && all[0].spares_sold && !all[0].number_on_metal);
    assert_eq!(all[0].shapes.len(), 1);
    let edition = all[0].series.to_string();

    desk.refused(
        "/dies/new",
        &[("label", "lantern & waves")],
        422,
        "is needed here",
    )
    .await;
    desk.once(
        "/dies/new",
        &[
            ("label", "lantern"),
            ("owner", "commissioner"),
            ("series", &edition),
        ],
    )
    .await;
    desk.once("/owners/new", &[("name", "Isolde Marrick")]).await;
    let owner = rows::<Owner>(desk)[0].owner.to_string();
    desk.once(&format!("/owners/{owner}/agreement"), &[("document", "folder 3")])
        .await;
    assert!(rows::<Owner>(desk)[0].agreed);
    let page = desk.page("/office/setup").await;
    for said in [
        "bench scale by the window",
        "class II",
        "lantern",
        "Isolde Marrick",
        "mixing is agreed",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    Set {
        scale: scale.scale.to_string(),
        edition,
        open: all[1].series.to_string(),
        die: rows::<Die>(desk)[0].die.to_string(),
    }
}

/// Metal in by the form; melt, pour and tray at the bench: four that fit, one too light, one too heavy.
async fn poured(desk: &Desk, set: &Set) -> Vec<String> {
    let session = desk.session(&set.scale).await;
    let lot = [
        ("metal", "silver"),
        ("fineness", "999.9"),
        ("basis", "declared"),
        ("session", session.as_str()),
        ("mass", "500.00"),
        ("price", "431.20"),
    ];
    desk.once("/lots/new", &lot).await;
    let lot = desk.json("/v1/lots").await["items"][0]["lot"]
        .as_str()
        .unwrap()
        .to_owned();
    let charge = json!({"metal": "silver", "session": session, "lots": [{"lot": lot, "mass": "310.00"}]});
    let melt = desk.bench("/v1/melts", charge).await;
    let pours: Vec<Value> = (0..6)
        .map(|_| json!({"series": set.edition, "shape": "oval"}))
        .collect();
    desk.app
        .post(&format!("/v1/melts/{melt}/pours"), json!({"pours": pours}))
        .await
        .expect(201);
    let pieces = desk.json("/v1/pieces").await;
    let pieces: Vec<String> = pieces["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|piece| piece["piece"].as_str().unwrap().to_owned())
        .collect();
    let masses = ["50.40", "50.60", "50.80", "50.30", "49.10", "52.00"];
    let items: Vec<Value> = pieces
        .iter()
        .zip(masses)
        .map(|(piece, mass)| item(&desk.app, piece, mass))
        .collect();
    let tray = json!({"session": session, "stage": "from_mould", "items": items});
    desk.app.post("/v1/weighings", tray).await.expect(201);
    desk.app
        .post(
            &format!("/v1/melts/{melt}/closing"),
            json!({"session": session, "heel": "6.40"}),
        )
        .await
        .expect(201);
    desk.check(&session).await;
    pieces
}

async fn weighed(desk: &Desk, set: &Set, pieces: &[String]) {
    let session = desk.session(&set.scale).await;
    let masses = ["50.40", "50.60", "50.80", "50.30"];
    let items: Vec<Value> = pieces
        .iter()
        .zip(masses)
        .map(|(piece, mass)| item(&desk.app, piece, mass))
        .collect();
    let tray = json!({"session": session, "stage": "final", "items": items});
    desk.app.post("/v1/weighings", tray).await.expect(201);
    desk.check(&session).await;
}

/// To the office and back: three marked, one unmarked.
async fn consigned(desk: &Desk, pieces: &[String]) -> String {
    let mut fields = vec![("fineness", "999"), ("office", "The Hall"), ("seal", "EAH-0511")];
    fields.extend(pieces.iter().map(|piece| ("pieces", piece.as_str())));
    desk.refused(
        "/consignments/new",
        &fields,
        422,
        "sponsor's, a fineness and an office's mark",
    )
    .await;
    let marks = [("marks", "sponsor"), ("marks", "fineness"), ("marks", "office")];
    fields.extend(marks);
    let to = desk.once("/consignments/new", &fields).await;
    let path = format!("{to}/return");
    // The form begins with nothing said of any piece, unless somebody asks for that.
    assert!(!desk.page(&path).await.contains("value=\"marked\" selected"));
    assert_eq!(
        desk.page(&format!("{path}?outcome=marked"))
            .await
            .matches("value=\"marked\" selected")
            .count(),
        4
    );
    let listed = desk.reply(&format!("{to}/packing-list")).await.expect(200);
    assert!(listed.body.starts_with(b"%PDF-"));
    let disposition = listed.header("content-disposition").unwrap();
    assert!(disposition.contains("packing-list-1.pdf"), "{disposition}");

    let names: Vec<(String, String)> = pieces
        .iter()
        .enumerate()
        .map(|(at, piece)| {
            (
                format!("lines/{piece}/outcome"),
                if at == 3 { "unmarked" } else { "marked" }.to_owned(),
            )
        })
        .collect();
    let mut lines: Vec<(&str, &str)> = vec![("hallmark/fineness", "999"), ("note", "back by hand")];
    lines.extend([
        ("hallmark/marks", "sponsor"),
        ("hallmark/marks", "fineness"),
        ("hallmark/marks", "office"),
    ]);
    for mark in ["sponsor", "fineness", "office"] {
        lines.push(match mark {
            "sponsor" => ("hallmark/marks/sponsor/legible", "yes"),
            "fineness" => ("hallmark/marks/fineness/legible", "yes"),
            _ => ("hallmark/marks/office/legible", ""),
        });
    }
    lines.extend(pieces.iter().map(|piece| ("lines", piece.as_str())));
    lines.extend(
        names
            .iter()
            .map(|(name, outcome)| (name.as_str(), outcome.as_str())),
    );
    // An unmarked piece without a reason is refused beside its line, and a line that is missing is named.
    let told = desk.refused(&path, &lines, 422, "came back for a reason").await;
    assert!(
        told.contains(&format!("f-lines-{}-reason-fault", pieces[3])),
        "{told}"
    );
    let reason = format!("lines/{}/reason", pieces[3]);
    lines.push((&reason, "damaged"));
    let short: Vec<(&str, &str)> = lines
        .iter()
        .copied()
        .filter(|field| *field != ("lines", pieces[1].as_str()))
        .collect();
    let told = desk
        .browser
        .fill(&desk.app, &path, &short)
        .await
        .expect(409)
        .text();
    assert!(told.contains("does not add up"), "{told}");

    // The counts are said back once, and add up to what was sent.
    let asked = desk
        .browser
        .fill(&desk.app, &path, &lines)
        .await
        .expect(200)
        .text();
    assert!(
        asked.contains("4 were sent: 3 marked, 1 unmarked, 0 kept or cut, 0 missing."),
        "{asked}"
    );
    assert_eq!(desk.once(&path, &lines).await, to);
    let row = desk.json(&format!("/v1/pieces/{}", pieces[0])).await;
    assert_eq!(
        row["hallmark"]["marks"][2],
        json!({"mark": "office", "legible": false})
    );
    let page = desk.page(&to).await;
    assert!(
        page.contains("3 marked, 1 unmarked, 0 kept or cut, 0 missing, of 4 sent"),
        "{page}"
    );
    to
}

#[actix_web::test]
async fn an_edition_goes_from_the_first_scale_to_a_piece_that_comes_back() {
    let desk = Desk::open().await;
    let set = set_up(&desk).await;
    assert!(
        desk.page("/office")
            .await
            .contains("3 more wanted. How many to pour is told once")
    );
    let pieces = poured(&desk, &set).await;
    let board = desk.page("/office").await;
    assert!(
        board.contains("ST") && board.contains("No more wanted."),
        "{board}"
    );

    // What does not fit: one is given up, one would be moved, and is given up too.
    let (light, heavy) = (&pieces[4], &pieces[5]);
    desk.refused(
        &format!("/pieces/{light}/condemnation"),
        &[("note", "thin")],
        422,
        "is needed here",
    )
    .await;
    desk.asks(
        &format!("/pieces/{light}/condemnation"),
        &[("reason", "under")],
        "Is it this one?",
    )
    .await;
    let to = desk
        .once(&format!("/pieces/{light}/condemnation"), &[("reason", "under")])
        .await;
    assert_eq!(to, format!("/pieces/{light}"));
    desk.refused(
        &format!("/pieces/{light}/series"),
        &[("to", &set.open)],
        409,
        "cannot be moved",
    )
    .await;
    desk.once(&format!("/pieces/{heavy}/series"), &[("to", &set.open)])
        .await;
    desk.once(
        &format!("/pieces/{heavy}/condemnation"),
        &[("reason", "unwanted")],
    )
    .await;

    let four = &pieces[..4];
    let mut ticked: Vec<(&str, &str)> = four.iter().map(|piece| ("pieces", piece.as_str())).collect();
    desk.refused("/serials/new", &[], 422, "nothing is named").await;
    assert_eq!(desk.once("/serials/new", &ticked).await, "/office/numbers");
    let strikes: Vec<Value> = four
        .iter()
        .map(|piece| json!({"piece": piece, "outcome": "good", "version": desk.app.version(piece)}))
        .collect();
    desk.app
        .post("/v1/strikes", json!({"die": set.die, "items": strikes}))
        .await
        .expect(201);

    let consignment = consigned(&desk, four).await;
    assert_eq!(
        last(&consignment),
        rows::<Consignment>(&desk)[0].consignment.to_string()
    );
    desk.refused("/numbers/new", &ticked[..1], 409, "no final weighing")
        .await;
    weighed(&desk, &set, &four[..3]).await;
    ticked.truncate(3);
    desk.once("/numbers/new", &ticked[..2]).await;
    desk.once("/spares/new", &ticked[2..]).await;
    desk.once("/certificates/new", &ticked[..2]).await;
    desk.app.released().await;
    let shown = desk.page("/prints/new").await;
    let certificates: Vec<(&str, &str)> = shown
        .match_indices("name=\"certificates\" value=\"")
        .map(|(at, found)| ("certificates", &shown[at + found.len()..][..36]))
        .chain([("paper", "a6")])
        .collect();
    assert_eq!(certificates.len(), 3);
    let entry = desk.once("/prints/new", &certificates).await;
    assert!(desk.page(&entry).await.contains("The PDF"));
    let pdf = desk.reply(&format!("/prints/{}", last(&entry))).await.expect(200);
    assert!(pdf.body.starts_with(b"%PDF-"));
    let labels = desk
        .reply(&format!("/series/{}/labels", set.edition))
        .await
        .expect(200);
    assert!(labels.body.starts_with(b"%PDF-"));
    desk.once(
        &format!("/pieces/{}/supersession", pieces[0]),
        &[("reason", "damaged")],
    )
    .await;

    sold(&desk, &set, four).await;
}

/// An order, a sale under it, a parcel, and what may become of a piece afterwards.
async fn sold(desk: &Desk, set: &Set, pieces: &[String]) {
    let order = [
        ("series", set.edition.as_str()),
        ("shapes/1/shape", "oval"),
        ("shapes/1/count", "1"),
        ("buyer", "The Lantern & Loom Society"),
    ];
    let mut greedy = order.to_vec();
    greedy[2] = ("shapes/1/count", "9");
    desk.refused("/orders/new", &greedy, 409, "9 more cannot be promised")
        .await;
    let to = desk.once("/orders/new", &order).await;
    let order = rows::<Order>(desk)[0].order.to_string();
    assert_eq!(to, format!("/orders/{order}"));
    assert!(desk.page(&to).await.contains("The Lantern &amp; Loom Society"));
    let [first, second] = [&pieces[0], &pieces[1]];
    desk.once(&format!("/pieces/{first}/reservation"), &[("order", &order)])
        .await;
    desk.once(&format!("/pieces/{first}/release"), &[]).await;
    let price = format!("items/{first}/price");
    let items = [
        ("items", first.as_str()),
        (price.as_str(), "181,50"),
        ("order", order.as_str()),
        ("buyer", "Society"),
    ];
    let to = desk.once(&format!("/sales/new?order={order}"), &items).await;
    let sale = rows::<Sale>(desk)[0].sale.to_string();
    assert_eq!(to, format!("/sales/{sale}"));
    desk.refused(
        "/sales/new",
        &[("items", first), ("buyer", "Ivo")],
        409,
        "which stands",
    )
    .await;

    desk.asks(
        &format!("/sales/{sale}/cancellation"),
        &[("pieces", first)],
        "1 piece will be out of this sale",
    )
    .await;
    desk.once(&format!("/sales/{sale}/cancellation"), &[("pieces", first)])
        .await;
    let again = [
        ("items", first.as_str()),
        (price.as_str(), "181.50"),
        ("order", order.as_str()),
    ];
    let to = desk.once("/sales/new", &again).await;
    desk.refused(
        &format!("{to}/dispatches"),
        &[("insured", "many")],
        422,
        "f-insured-fault",
    )
    .await;
    let parcel = [
        ("pieces", first.as_str()),
        ("weight", "112 g"),
        ("seal", "S-77"),
        ("insured", "250.00"),
        ("carrier", "by the night coach"),
    ];
    assert_eq!(desk.once(&format!("{to}/dispatches"), &parcel).await, to);
    let page = desk.page(&to).await;
    for said in ["112 g", "S-77", "250.00 GBP", "by the night coach", "Arrived"] {
        assert!(page.contains(said), "{said}: {page}");
    }
    desk.once(&format!("{to}/returns-to-sender"), &[("pieces", first)])
        .await;
    desk.once(&format!("{to}/dispatches"), &[("pieces", first)]).await;
    desk.asks(
        &format!("{to}/losses"),
        &[("pieces", first)],
        "shown to everybody as lost",
    )
    .await;
    desk.once(&format!("{to}/losses"), &[("pieces", first)]).await;
    desk.once(&format!("/pieces/{first}/finding"), &[]).await;
    afterwards(desk, set, first, second).await;
}

async fn afterwards(desk: &Desk, set: &Set, first: &str, second: &str) {
    let state =
        |piece: String| async move { desk.json(&format!("/v1/pieces/{piece}")).await["state"].clone() };
    let mut to = format!(
        "/sales/{}",
        desk.json(&format!("/v1/pieces/{first}")).await["sale"]
            .as_str()
            .unwrap()
    );
    if state(first.to_owned()).await == "sold" {
        desk.once(&format!("{to}/handovers"), &[("pieces", first)]).await;
    } else {
        desk.once(&format!("{to}/deliveries"), &[("pieces", first)]).await;
    }
    desk.once(&format!("/pieces/{first}/return"), &[]).await;
    assert_eq!(state(first.to_owned()).await, "returned");
    desk.once(&format!("/pieces/{first}/restocking"), &[]).await;
    to = desk.once("/sales/new", &[("items", first)]).await;
    desk.once(&format!("{to}/handovers"), &[("pieces", first)]).await;
    let session = desk.session(&set.scale).await;
    let path = format!("/pieces/{first}/buyback");
    desk.refused(
        &path,
        &[("session", &session), ("mass", "50.405")],
        409,
        "finer than the scale shows",
    )
    .await;
    desk.once(
        &path,
        &[("session", &session), ("mass", "50.39"), ("price", "170.00")],
    )
    .await;
    assert_eq!(state(first.to_owned()).await, "bought_back");
    assert!(desk.page("/office/stock").await.contains("Came back"));

    desk.asks(
        &format!("/pieces/{second}/theft"),
        &[],
        "shown to everybody as stolen",
    )
    .await;
    desk.once(
        &format!("/pieces/{second}/theft"),
        &[("reference", "report 2244")],
    )
    .await;
    assert!(desk.page("/office/stock").await.contains("It is back"));
    desk.once(&format!("/pieces/{second}/recovery"), &[]).await;
    desk.refused(
        &format!("/pieces/{second}/destruction"),
        &[("note", "hammer")],
        422,
        "has a witness",
    )
    .await;
    desk.asks(
        &format!("/pieces/{second}/destruction"),
        &[("witness", "Maud")],
        "nothing brings it back",
    )
    .await;
    desk.once(&format!("/pieces/{second}/destruction"), &[("witness", "Maud")])
        .await;
    assert_eq!(state(second.to_owned()).await, "destroyed");

    // What was given up goes to the refiner, and comes back as metal.
    let condemned = desk.json("/v1/pieces?state=condemned").await;
    let one = condemned["items"][0]["piece"].as_str().unwrap().to_owned();
    let sent = [
        ("metal", "silver"),
        ("session", session.as_str()),
        ("pieces", one.as_str()),
        ("refiner", "Pell"),
    ];
    assert_eq!(desk.once("/refinings/new", &sent).await, "/office/stock");
    let refining = desk.json("/v1/refinings").await["items"][0]["refining"]
        .as_str()
        .unwrap()
        .to_owned();
    let account = [
        ("settled/mass", "48.90"),
        ("settled/fineness", "999"),
        ("price", "41.00"),
    ];
    desk.once(&format!("/refinings/{refining}/return"), &account)
        .await;

    // The die goes; the edition cannot close while pieces of it are loose, and says which.
    desk.refused(
        &format!("/dies/{}/disposal", set.die),
        &[("how", "retired")],
        409,
        "goes back or is destroyed",
    )
    .await;
    desk.asks(
        &format!("/dies/{}/disposal", set.die),
        &[("how", "returned")],
        "goes back to its owner",
    )
    .await;
    desk.once(&format!("/dies/{}/disposal", set.die), &[("how", "returned")])
        .await;
    let closing = format!("/series/{}/closing", set.edition);
    desk.asks(&closing, &[], "numbers not given are never given")
        .await;
    let order = rows::<Order>(desk)[0].order;
    let second = [
        ("series", set.edition.as_str()),
        ("shapes/1/shape", "oval"),
        ("shapes/1/count", "1"),
    ];
    let to = desk.once("/orders/new", &second).await;
    assert_ne!(to, format!("/orders/{order}"));
    desk.asks(&format!("{to}/cancellation"), &[], "loses its turn")
        .await;
    desk.once(&format!("{to}/cancellation"), &[]).await;
    desk.refused(&closing, &[("note", "done")], 409, "loose").await;
}
