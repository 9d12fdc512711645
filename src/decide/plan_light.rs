//! The light of the hours that a dated night's plan takes, as it falls on another camera on the same nights.
//!
//! Two plans of one evening use different hours, and one that ends an evening earlier may do so under more Moon: then hours
//! would compare evenings, not what the nights differ in. So both are weighed under the light of the first one's plan.

use std::sync::Arc;

use crate::camera::Mode;
use crate::night::evening::Evening;
use crate::night::{Conditions, FilterConditions, Night};
use crate::noise::Rates;
use crate::plan::{PlanError, conditions_over_nights};
use crate::stats::Estimate;
use crate::units::{ElectronsPerSecond, MagnitudesPerSquareArcsecond};

/// Moonlight that the light of a plan is told in.
const REFERENCE_MOON: MagnitudesPerSquareArcsecond = MagnitudesPerSquareArcsecond(20.0);

/// The light of a plan's hours over a reference: the first evening's air and sky, and so much moonlight.
pub(super) struct PlanLight {
    /// By filter, in the order of the night.
    filters: Vec<(String, Rates)>,
}

impl PlanLight {
    /// The light of a night's plan; `None` where the night has no date or no place, or no plan.
    pub(super) fn of(night: &Night, mode: &Mode) -> Option<Arc<Self>> {
        let planned = conditions_over_nights(night, mode).ok()??;
        let reference = reference(night, mode).ok()?;
        let ratio = |planned: ElectronsPerSecond, reference: ElectronsPerSecond| {
            ElectronsPerSecond(if reference.0 > 0.0 { planned.0 / reference.0 } else { 1.0 })
        };
        let of_filter = |(planned, reference): (&FilterConditions, &FilterConditions)| {
            let at = planned.planes.iter().position(|plane| plane.governs)?;
            let (now, then) = (planned.planes[at].noise.rates, reference.planes.get(at)?.noise.rates);
            Some((planned.name.clone(), now.combined(then, ratio)))
        };
        let filters: Vec<_> = planned.filters.iter().zip(&reference.filters).filter_map(of_filter).collect();
        (!filters.is_empty()).then(|| Arc::new(Self { filters }))
    }

    /// The conditions of a night of the same date, place and target in this light.
    pub(super) fn on(&self, night: &Night, mode: &Mode) -> Result<Conditions, PlanError> {
        let mut lit = reference(night, mode)?;
        for filter in &mut lit.filters {
            let own = self.filters.iter().find(|(name, _)| *name == filter.name).or(self.filters.first());
            let Some((_, light)) = own else { continue };
            let times = |rate: ElectronsPerSecond, times: ElectronsPerSecond| rate * times.0;
            let rates: Vec<Rates> =
                filter.planes.iter().map(|plane| plane.noise.rates.combined(*light, times)).collect();
            *filter = filter.under(&rates, night.goal.star_mag_kept);
        }
        Ok(lit)
    }
}

fn reference(night: &Night, mode: &Mode) -> Result<Conditions, PlanError> {
    let moonlit = Evening::new(night)?.lit_by(Some(Estimate::new(REFERENCE_MOON.0, 0.0)));
    Ok(Conditions::on(night, mode, &moonlit)?)
}

/// Whether two nights are the same evenings for the same target: what differs between them is not the light.
pub(super) fn same_evenings(a: &Night, b: &Night) -> bool {
    let placed = |night: &Night| {
        let mut site = night.site.clone();
        (site.sky, site.lamps, site.seeing_arcsec, site.ambient_c, site.climate) = (None, None, None, None, None);
        let target = (night.position(), night.target.altitude_deg, night.target.min_altitude_deg);
        (site, target, night.goal.date.clone(), night.goal.need_astronomical_night)
    };
    placed(a) == placed(b)
}
