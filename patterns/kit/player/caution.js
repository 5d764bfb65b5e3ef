// The caution that stands before the first thing that moves.

const KEY = "evenhold-caution";

function accepted() {
  try {
    return sessionStorage.getItem(KEY) === "read";
  } catch {
    return false;
  }
}

function accept() {
  try {
    sessionStorage.setItem(KEY, "read");
  } catch {
    // then it is asked again
  }
}

/** Run `go` at once if the caution was read, else after it is; `go` runs inside the tap. */
export function afterCaution(go) {
  if (accepted()) {
    go();
    return;
  }
  const dialog = document.getElementById("caution");
  if (!dialog.showModal) {
    if (window.confirm(dialog.textContent.trim())) {
      accept();
      go();
    }
    return;
  }
  document.getElementById("accept").onclick = () => {
    accept();
    dialog.close();
    go();
  };
  document.getElementById("decline").onclick = () => dialog.close();
  dialog.showModal();
}
