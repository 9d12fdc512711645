//! Reports to keep and to print, the same as the commands write.

use std::path::Path;

use serde::Deserialize;

use crate::camera::CameraProfile;
use crate::decide::{Choices, Cooling};
use crate::plan::{plan, searches};
use crate::planner::{Draft, Refusal};
use crate::report::{camera_page, choices_page, cooling_page, plan_page, review_page};
use crate::review::Review;

/// A report that is asked for.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Asked {
    of: Of,
    /// The night, where the report is of one.
    #[serde(default)]
    night: Option<Draft>,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Of {
    Plan,
    Choices,
    Cooling,
    Camera,
    Review,
}

/// The report as a page of its own. `measured` and `reviewed` are what was measured and judged last.
pub(super) fn report(
    asked: &Asked,
    read: &dyn Fn(&Path) -> Result<String, Refusal>,
    measured: Option<CameraProfile>,
    reviewed: Option<Review>,
) -> Result<String, Refusal> {
    let nothing = || {
        let hint = "measure a folder, judge one, or open a night first";
        Refusal::new(409, "nothing-to-report", "there is nothing yet to report of", hint)
    };
    let drafted = || asked.night.as_ref().ok_or_else(nothing);
    Ok(match asked.of {
        Of::Plan => {
            let (night, camera) = drafted()?.night(read)?;
            plan_page(&plan(&night, &camera)?, &searches(&night, &camera)?)
        }
        Of::Choices => {
            let (night, camera) = drafted()?.night(read)?;
            choices_page(&Choices::new(&night, &camera, &drafted()?.chosen(read)?)?)
        }
        Of::Cooling => {
            let (night, camera) = drafted()?.night(read)?;
            cooling_page(&Cooling::new(&night, &camera, None)?)
        }
        Of::Camera => match measured {
            Some(profile) => camera_page(&profile),
            None => camera_page(&drafted()?.night(read)?.1),
        },
        Of::Review => review_page(&reviewed.ok_or_else(nothing)?),
    })
}
