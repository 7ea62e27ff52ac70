//! The course once the device has moved: its control ports, a gateway that is still to be told, and how it says
//! that it is set now.

use wire::onvif::{Question, Refusal, choose};

use super::super::step::{Answer, Now, Outcome, Ports, Settings, Step, Trouble};
use super::{Course, Heard, Stage};

impl Course {
    /// A device that has just arrived may need a while until it listens.
    pub(super) fn ports(&mut self) -> Step {
        self.stage = Stage::Ports;
        let service = self.service.as_ref().map(|s| s.at(self.job.to.address()));
        service.map_or(Step::Over(Outcome::NoService), Step::Try)
    }

    pub(super) fn tried(&mut self, ports: Ports, speaks: bool) -> Step {
        (self.ports, self.speaks) = (ports, speaks);
        if self.owes_gateway() {
            return self.set_gateway(Stage::LateGateway);
        }
        self.look_back()
    }

    /// Asks how it is set now. Who refused the login meanwhile is asked nothing more.
    pub(super) fn look_back(&mut self) -> Step {
        match &self.gateway_trouble {
            Some(trouble @ Trouble::Says(Refusal::NotAuthorized)) => {
                let now = Now::Untold(trouble.clone());
                self.arrived(now)
            }
            _ if !self.speaks => self.arrived(Now::NotAsked),
            _ => self.put(Stage::After, Question::Interfaces),
        }
    }

    pub(super) fn looked_back(&mut self, heard: Heard) -> Step {
        let untold = |refusal| Now::Untold(Trouble::Says(refusal));
        let all = match heard {
            Ok(Answer::Interfaces(all)) => all,
            Ok(_) => return self.arrived(untold(Refusal::NotAuthorized)),
            Err(trouble) => return self.arrived(Now::Untold(trouble)),
        };
        match choose(&all, self.job.mac) {
            Ok(interface) => {
                self.after = Some(Settings {
                    interface: interface.clone(),
                    gateways: None,
                });
                self.put(Stage::AfterGateways, Question::Gateway)
            }
            Err(_) => self.arrived(untold(Refusal::Missing("which of its interfaces this is"))),
        }
    }

    /// Whoever does not say its gateway now leaves it open.
    pub(super) fn gateways_now(&mut self, heard: Heard) -> Step {
        let Some(mut now) = self.after.take() else {
            return self.arrived(Now::NotAsked);
        };
        if let Ok(Answer::Gateways(all)) = heard {
            now.gateways = Some(all);
        }
        self.arrived(Now::Told(now))
    }

    fn arrived(&self, now: Now) -> Step {
        Step::Over(Outcome::Arrived {
            took: self.took,
            ports: self.ports.clone(),
            gateway: self.gateway_trouble.clone(),
            now,
        })
    }
}
