// A window comes back to the bench it had; a new window gets the latest that no other shows.
const mine = sessionStorage.getItem("bench");
location.replace(mine ? `/bench/${mine}` : "/resume");
