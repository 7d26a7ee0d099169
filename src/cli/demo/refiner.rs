//! The refiner: sweepings, filings and what nothing else becomes of, accounted for as metal or in money.

use super::crucible::{fineness, mass, money, shown};
use super::ledger::{Held, Holder};
use super::workshop::{GRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{
    Event, GatherSweeps, JarDraw, JarId, LotId, Outturn, PieceId, PieceState, RefiningId, ReturnRefining,
    ScaleId, SendToRefiner, Settled,
};
use crate::metal::{Metal, Reading};

/// What is at the refiner.
pub(super) struct Sent {
    refining: RefiningId,
    metal: Metal,
    mass: i64,
    /// Silver in the dust, which nobody knows.
    dust: i64,
}

impl Workshop {
    /// Sweeps floor and bench.
    pub(super) fn sweep(&mut self, scale: ScaleId, jar: JarId, grams: &str) -> Result<(), Failure> {
        let session = self.open(scale, "50", "50.00")?;
        self.record(GatherSweeps {
            jar,
            session,
            mass: Reading::parse(grams).map_err(Failure::unusable)?,
        })?;
        self.close_session(session, "50", "50.00")
    }

    /// Sends jars and condemned pieces; of sweepings only their gross weight is known.
    pub(super) fn send(
        &mut self,
        scale: ScaleId,
        metal: Metal,
        jars: &[JarId],
        sweeps: Option<(JarId, &str)>,
        pieces: &[PieceId],
    ) -> Result<Sent, Failure> {
        let session = self.open(scale, "50", "50.00")?;
        let (mut draws, mut whole) = (Vec::new(), 0);
        for jar in jars
            .iter()
            .filter(|jar| self.ledger.in_jar(**jar) > 0)
            .copied()
            .collect::<Vec<_>>()
        {
            let (draw, held) = self.empty(jar)?;
            draws.push(draw);
            whole += held;
        }
        if let Some((jar, gross)) = sweeps {
            let mass = Reading::parse(gross).map_err(Failure::unusable)?;
            draws.push(JarDraw { jar, mass });
        }
        for piece in pieces {
            whole += self.ledger.weighs(*piece);
            self.ledger.go(*piece, PieceState::Refined, Holder::Gone);
        }
        let recorded = self.record(SendToRefiner {
            metal,
            session,
            jars: draws,
            pieces: pieces.to_vec(),
            refiner: Some("Cinder Lane Refinery".to_owned()),
            seal: Some("CL-88".to_owned()),
            document: Some(format!("DN-{}", self.ledger.entries)),
            note: None,
        })?;
        let refining = Self::event(&recorded, |event| match event {
            Event::RefiningSent(e) => Some(e.refining),
            _ => None,
        })?;
        self.close_session(session, "50", "50.00")?;
        self.ledger.flow(metal).at_refiner += whole;
        Ok(Sent {
            refining,
            metal,
            mass: whole,
            dust: if sweeps.is_some() { 4 * GRAM } else { 0 },
        })
    }

    /// Metal comes back: all but three parts in a thousand, and what was in the dust.
    pub(super) fn outturn(&mut self, scale: ScaleId, sent: &Sent) -> Result<LotId, Failure> {
        let back = (sent.mass / 1_000 * 997 + sent.dust) / 1_000 * 1_000;
        let session = self.open(scale, "200", "200.00")?;
        let recorded = self.record(ReturnRefining {
            refining: sent.refining,
            outturn: Some(Outturn {
                session,
                mass: shown(back)?,
                fineness: fineness("999.9")?,
            }),
            settled: None,
            price: None,
            charge: Some(money("38.50")?),
            document: Some("CLR-1107".to_owned()),
            note: None,
        })?;
        let lot = Self::event(&recorded, |event| match event {
            Event::LotOutturned(e) => Some(e.lot),
            _ => None,
        })?;
        self.close_session(session, "200", "200.00")?;
        let metal = sent.metal;
        self.ledger.lots.insert(lot, Held { metal, mass: back });
        let flow = self.ledger.flow(metal);
        flow.at_refiner -= sent.mass;
        flow.refining_loss += sent.mass - back;
        Ok(lot)
    }

    /// The refiner keeps the metal and pays for it.
    pub(super) fn settle(&mut self, sent: &Sent, grams: &str, price: &str) -> Result<(), Failure> {
        let paid = mass(grams)?;
        self.record(ReturnRefining {
            refining: sent.refining,
            outturn: None,
            settled: Some(Settled {
                mass: paid,
                fineness: fineness("999.0")?,
            }),
            price: Some(money(price)?),
            charge: Some(money("31.00")?),
            document: Some("CLR-1163".to_owned()),
            note: None,
        })?;
        let flow = self.ledger.flow(sent.metal);
        flow.at_refiner -= sent.mass;
        flow.settled += paid.units();
        flow.refining_loss += sent.mass - paid.units();
        Ok(())
    }
}
