//! nginx with files of a folder: two workers, files kept open, no access log. It ends with this value.

use super::server::{answers, free_address};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, Command, Stdio};

pub struct Nginx {
    child: Child,
    pub address: SocketAddr,
}

/// Where it is installed: Debian's is not on everybody's path.
fn program() -> Option<&'static str> {
    ["nginx", "/usr/sbin/nginx"]
        .into_iter()
        .find(|path| super::machine::told(path, &["-v"]).is_some())
}

pub fn version() -> Option<String> {
    super::machine::told(program()?, &["-v"])
}

impl Nginx {
    /// Serves what stands under a folder, with this type; its own files go to `work`.
    ///
    /// # Errors
    /// Why it does not.
    pub fn start(files: &Path, work: &Path, media_type: &str) -> Result<Self, String> {
        let program = program().ok_or("nginx is not installed")?;
        let address = free_address();
        std::fs::create_dir_all(work).map_err(|error| error.to_string())?;
        let user = if super::postgres::is_root() {
            "user root;"
        } else {
            ""
        };
        let (root, own) = (files.display(), work.display());
        let temporary: String = ["client_body", "proxy", "fastcgi", "uwsgi", "scgi"]
            .map(|name| format!("{name}_temp_path {own}/{name};\n"))
            .concat();
        let config = format!(
            "{user} worker_processes 2; daemon off; pid {own}/pid; error_log {own}/errors crit;\n\
             events {{ worker_connections 4096; }}\n\
             http {{ access_log off; sendfile on; tcp_nopush on; tcp_nodelay on; keepalive_requests 1000000000;\n\
             keepalive_timeout 600s; open_file_cache max=40000 inactive=600s; open_file_cache_valid 600s;\n\
             types {{ }} default_type '{media_type}';\n{temporary}\
             server {{ listen {address}; root {root}; add_header cache-control no-cache; }} }}\n"
        );
        std::fs::write(work.join("nginx.conf"), config).map_err(|error| error.to_string())?;
        let child = Command::new(program)
            .args(["-e", &format!("{own}/errors"), "-p"])
            .arg(work)
            .arg("-c")
            .arg(work.join("nginx.conf"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|error| error.to_string())?;
        let nginx = Self { child, address };
        answers(address)
            .then_some(nginx)
            .ok_or_else(|| "nginx does not answer".to_owned())
    }
}

impl Drop for Nginx {
    fn drop(&mut self) {
        // Its workers end when the first process is told to; killed, it would leave them.
        let _ = Command::new("kill")
            .args(["-TERM", &self.child.id().to_string()])
            .status();
        let _ = self.child.wait();
    }
}
