//! What the device service is asked and told: ONVIF Core Specification and the Device Management WSDL.

use core::net::Ipv4Addr;

use vocab::{Ipv4Net, Text};

use super::answer::{Answer, Refusal};
use super::clock::DeviceTime;
use super::digest::Challenge;
use super::network::Token;
use super::secret::{Draw, Login};
use super::service::Place;
use super::{DEVICE, NAMESPACES, SCHEMA, text, token};
use crate::http;

/// How an interface shall come by its address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Setting {
    /// This address and mask, and no DHCP.
    Manual(Ipv4Net),
    /// From a DHCP server.
    Dhcp,
}

/// What a device is asked or told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Question {
    /// What time is it? Needs no login.
    Clock,
    /// Which interfaces are there?
    Interfaces,
    /// Which gateways are set?
    Gateway,
    /// A change: another address for an interface.
    SetInterface(Token, Setting),
    /// A change: another gateway.
    SetGateway(Ipv4Addr),
    /// A change: start again.
    Restart,
}

/// In whose name a request goes.
#[derive(Debug)]
pub enum Pass<'a> {
    /// Nobody's.
    Nobody,
    /// The login inside the message.
    Token {
        /// Who.
        login: &'a Login,
        /// What the device's clock shows now.
        at: DeviceTime,
        /// Chance for this request alone.
        draw: Draw,
    },
    /// The login beside the message.
    Digest {
        /// Who.
        login: &'a Login,
        /// What the device wants answered; each is answered once.
        challenge: Challenge,
        /// Chance for this request alone.
        draw: Draw,
    },
}

impl Question {
    /// Its name in the service.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Clock => "GetSystemDateAndTime",
            Self::Interfaces => "GetNetworkInterfaces",
            Self::Gateway => "GetNetworkDefaultGateway",
            Self::SetInterface(..) => "SetNetworkInterfaces",
            Self::SetGateway(_) => "SetNetworkDefaultGateway",
            Self::Restart => "SystemReboot",
        }
    }

    /// Whether it changes the device.
    pub const fn changes(&self) -> bool {
        matches!(self, Self::SetInterface(..) | Self::SetGateway(_) | Self::Restart)
    }

    /// What the body of its message says, without any login: to be shown before it is sent.
    pub fn body(&self) -> String {
        let name = self.name();
        let inner = match self {
            Self::Clock | Self::Interfaces | Self::Gateway | Self::Restart => {
                return format!("<tds:{name}/>");
            }
            Self::SetInterface(interface, setting) => {
                let (manual, dhcp) = match setting {
                    Setting::Manual(net) => {
                        let address = text("tt:Address", &net.addr().to_string());
                        let prefix = text("tt:PrefixLength", &net.prefix_len().to_string());
                        (format!("<tt:Manual>{address}{prefix}</tt:Manual>"), "false")
                    }
                    Setting::Dhcp => (String::new(), "true"),
                };
                format!(
                    "{}<tds:NetworkInterface><tt:Enabled>true</tt:Enabled><tt:IPv4><tt:Enabled>true</tt:Enabled>\
                     {manual}{}</tt:IPv4></tds:NetworkInterface>",
                    text("tds:InterfaceToken", interface.as_str()),
                    text("tt:DHCP", dhcp),
                )
            }
            Self::SetGateway(address) => text("tds:IPv4Address", &address.to_string()),
        };
        format!("<tds:{name}>{inner}</tds:{name}>")
    }

    /// The whole request, head and all. The connection ends with its answer.
    pub fn request(&self, place: &Place, pass: Pass<'_>) -> Vec<u8> {
        let (inside, beside) = match pass {
            Pass::Nobody => (String::new(), String::new()),
            Pass::Token { login, at, draw } => (token::header(login, at, &draw), String::new()),
            Pass::Digest {
                login,
                challenge,
                draw,
            } => {
                let answer = challenge.answer(login, place.path.as_str(), &draw);
                (String::new(), format!("Authorization: {answer}\r\n"))
            }
        };
        let [soap, _] = NAMESPACES;
        let message = format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\
             <s:Envelope xmlns:s=\"{soap}\" xmlns:tds=\"{DEVICE}\" xmlns:tt=\"{SCHEMA}\">{inside}\
             <s:Body>{}</s:Body></s:Envelope>",
            self.body()
        );
        format!(
            "POST {} HTTP/1.1\r\nHost: {}\r\nUser-Agent: rigmuster\r\n{beside}\
             Content-Type: application/soap+xml; charset=utf-8; action=\"{DEVICE}/{}\"\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n{message}",
            place.path.as_str(),
            http::authority(place.host, place.port),
            self.name(),
            message.len()
        )
        .into_bytes()
    }
}

/// Whether a device says that it takes its new address only at its next start: its answer to
/// [`Question::SetInterface`]. Where it leaves that out, it is asked to start.
///
/// # Errors
/// As the device refuses.
pub fn read_needs_restart(answer: &Answer) -> Result<bool, Refusal> {
    let body = answer.body("SetNetworkInterfacesResponse")?;
    Ok(body.truth("RebootNeeded").unwrap_or(true))
}

/// A device's answer to [`Question::SetGateway`].
///
/// # Errors
/// As the device refuses.
pub fn read_gateway_set(answer: &Answer) -> Result<(), Refusal> {
    answer.body("SetNetworkDefaultGatewayResponse").map(|_| ())
}

/// A device's answer to [`Question::Restart`], with the words in it; may be empty.
///
/// # Errors
/// As the device refuses.
pub fn read_restart(answer: &Answer) -> Result<Text, Refusal> {
    let body = answer.body("SystemRebootResponse")?;
    let words = body.child("Message").map_or("", |node| node.text());
    Ok(Text::clean(words))
}

#[cfg(test)]
#[path = "question_tests.rs"]
mod tests;
