"""Did a change do what was promised: before and after at the same air, with how sure that is."""

from service.retrofit.asked import Asked, command_of, read_asked, readings_command
from service.retrofit.checked import Retrofit, check_retrofit
from service.retrofit.dividing import Dividing, dividing_days, periods_around
from service.retrofit.figures import Figures, Part
from service.retrofit.periods import Period, RetrofitRefusedError
from service.retrofit.rows import as_json, as_row
from service.retrofit.told import daily_power, equal_words, hours_table, sentences, verdict_words

__all__ = [
    "Asked",
    "Dividing",
    "Figures",
    "Part",
    "Period",
    "Retrofit",
    "RetrofitRefusedError",
    "as_json",
    "as_row",
    "check_retrofit",
    "command_of",
    "daily_power",
    "dividing_days",
    "equal_words",
    "hours_table",
    "periods_around",
    "read_asked",
    "readings_command",
    "sentences",
    "verdict_words",
]
