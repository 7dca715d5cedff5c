// A second press within the pause (gloves, slow network) does not send the form twice. The server
// guards its acts itself; this only spares a person the puzzling second answer.

const PAUSE_MS = 2000;

export function sendOnce(form) {
  let sentAt = -Infinity;
  form.addEventListener("submit", (event) => {
    if (event.timeStamp - sentAt < PAUSE_MS) {
      event.preventDefault();
      return;
    }
    sentAt = event.timeStamp;
  });
}
